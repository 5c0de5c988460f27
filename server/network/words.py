"""What the server says to whoever runs it, where it takes more than a line."""

MOVED = """
!! The address of this shop has changed.
     phones know it as   {before}
     now it is           {address}
   To a phone that is another app, with an empty record. What the old one has not sent stays safe inside it.
   Best: give this machine its old address back (in the router: a fixed lease for it). Then nothing else is to do.
   A phone that finds this machine by {others} goes on sending there by itself, and says so.
   On each other one: open the old app, and under The shop press "Hand everything over as one file"; then open
   the new address, pair, and press "Take a file in" there.
"""

PLAIN_HTTP = """
!! Plain HTTP on the network. A phone's browser then gives the app no offline start, no opinions of its own, no photos
   and no storage it promises to keep; and everybody on this network can read along, tokens too. For trying things
   out only: without --http-only all of this is there.
"""

NO_ADDRESS = """This machine has no address on a network yet; it is looked for every half minute."""

CLOCK_BEHIND = """
!! This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but the record was last written {written:%Y-%m-%d %H:%M} UTC.
   With a clock that is behind, phones refuse the server's certificate. Set it: timedatectl set-ntp true
   A running server follows within half a minute.
"""

CLOCK_PUT_AHEAD = """
!! This machine's clock was put ahead by {days} days while the server ran. Nothing of an owner's is forgotten by that
   clock. If it is right now, start the server anew; if not, set it: timedatectl set-ntp true
"""
