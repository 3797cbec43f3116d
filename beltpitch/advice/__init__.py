"""What to do about a tension: windows, pairs, adjusting, trials."""
