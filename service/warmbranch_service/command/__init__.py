"""The face for terminals: the command line."""
