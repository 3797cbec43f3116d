"""The live page: the states of a measurement drawn in a browser of the same machine."""
