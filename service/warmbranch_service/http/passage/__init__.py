"""What every request passes: keys, limits, turns, threads to work in, counting and the log."""
