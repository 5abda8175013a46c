"""Whether a robot is still what it was: figures of today beside those of a good day, each with a verdict."""
