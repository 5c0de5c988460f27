"""An invented repair shop: its boards, its meters, what it has read, and the jobs on its bench.

Every device, maker, board, person and number here is made up for the demo. The numbers are typed
from what such contacts commonly read on a bench, never taken from the engine's answers, so that
the engine can be tried against them.
"""
