"""The one engine: procedures, plucks and typed tones in, readings and verdicts out."""
