"""What is stretched: belts, spans and their mechanics."""
