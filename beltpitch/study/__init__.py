"""Trials: at which tension the machine cuts best."""
