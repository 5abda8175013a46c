"""Foreign logs: read in any dialect, understood by evidence, proposed as a session whose doubts are questions."""
