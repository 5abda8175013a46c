"""What is wrong with a log or its set-up, found from the data themselves."""
