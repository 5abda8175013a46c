"""A test drive laid out so that it can answer: marks, survey, what to log, what to drive, how sure that makes."""
