"""Sound into and out of the program; knows no frequency."""
