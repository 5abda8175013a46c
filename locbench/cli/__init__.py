"""The command line: parse, call one function of `jobs`, print."""
