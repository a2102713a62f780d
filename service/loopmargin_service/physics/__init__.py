"""Laws in SI units on numpy arrays: no I/O, no clock, no logging, no wire types."""
