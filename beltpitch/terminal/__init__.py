"""The faces on the command line: parse, draw; nothing is computed here."""
