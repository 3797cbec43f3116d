"""The evidence: what the program can hear, how well, how fast, beside peers and the bound."""
