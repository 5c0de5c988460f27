"""What the server, the engine and the phone say to each other: msgspec Structs, no I/O, no arithmetic.

Read in this order: `base`, `board`, `reading`, `job`, `sheet`, `opinion`, `change`; `tables` holds
the data (make-safe steps, roles, keypad grammar) that reaches the phone as generated JSON.
The rules by which these Structs may grow stand in EVOLUTION.md. This package also runs on the phone.
"""
