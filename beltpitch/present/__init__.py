"""Numbers to words and places; knows no screen."""
