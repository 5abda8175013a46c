"""One function per command, callable as a library."""
