"""The comparison engine: pure functions from a BenchSheet to an Opinion. Also runs on the phone.

Standard library, msgspec and shared_models only; no clock, no randomness, no I/O. Read in the order
of calls, which `door.py` lists.
"""
