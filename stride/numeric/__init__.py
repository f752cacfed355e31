"""Arrays in, arrays out; numpy and scipy only."""
