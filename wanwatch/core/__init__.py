"""Core: what the program knows, without touching the world.

In:       values that measure, store and config hand over; instants as arguments.
Out:      values: packets, samples, events, figures.
Imports:  the pure parts of the standard library. No I/O, no clock, no chance, no logging.
"""
