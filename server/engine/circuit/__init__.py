"""The circuit behind a contact: what a meter reads on it, healthy or not, and what a reading says of it.

Read in this order: `parts` (what a circuit is made of, and what is refused), `junction` (the diode law), `nodal`
(any circuit), `ladder` (the short way for most), `readings` (the door of these), `clamp_fit` (a clamp from healthy
readings), `behind` (a board's contact to its circuit), `anchored` (a circuit that reads what a band says; each fault
in millivolts; leaks to and fro), `meaning` (a low reading in ohms, place by place; what would
not show).

Units are mV, mA and ohm throughout. Pure, as all of the engine. The odds rest on it: `faulted` has the closed form of
its commonest line, a junction behind what lies in line; `branches` asks it of every other line, once, and keeps that.
"""
