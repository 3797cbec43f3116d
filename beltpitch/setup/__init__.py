"""The belt as asked for: one table of fields, and what it resolves to."""
