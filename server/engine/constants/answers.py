"""Numbers of what further places answer, given what is true: a part of the one table (see the package's words)."""

from server.engine.constants.table import num as _num

# ---- what further places answer, given what is true ---------------------------------------------------
SURE = _num("SURE", 0.97, "1", "ASSUMED", "a touch that answers its question answers it right this often")
BEHIND_SERIES_CHIP = _num("BEHIND_SERIES_CHIP", 0.9, "1", "ASSUMED", "a hurt chip input lies behind the series part")
BEHIND_SERIES_SHUNT = _num("BEHIND_SERIES_SHUNT", 0.3, "1", "ASSUMED", "a shunt part lies behind it less often")
SAME_BOTH_WAYS_RESISTIVE = _num(
    "SAME_BOTH_WAYS_RESISTIVE", 0.9, "1", "PRACTICE", "a resistive short reads the same both ways"
)
SAME_BOTH_WAYS_JUNCTION = _num("SAME_BOTH_WAYS_JUNCTION", 0.5, "1", "ASSUMED", "a wounded junction often does not")
KNOWN_RESISTOR_OHM = _num(
    "KNOWN_RESISTOR_OHM", 470.0, "ohm", "PRACTICE", "under 1 V at 2 mA: every diode test can show it"
)
RESISTOR_SD = _num("RESISTOR_SD", 0.02, "ln", "ASSUMED", "a 1 % resistor and the last digit")
DIFFERS_BY_WARMTH = _num(
    "DIFFERS_BY_WARMTH", 0.25, "1", "ASSUMED", "the meter is as told after all: the board was warm or cold"
)
VOLTS_AT_THIS_PLACE = _num(
    "VOLTS_AT_THIS_PLACE", 0.75, "1", "ASSUMED", "voltage that is left stands at the place where it is measured"
)
BELOW_ZERO_IF_POWERED = _num("BELOW_ZERO_IF_POWERED", 0.4, "1", "ASSUMED", "a sheet shows a number below zero then")
BELOW_ZERO_OTHERWISE = _num("BELOW_ZERO_OTHERWISE", 0.0005, "1", "ASSUMED", "a slip of the pen, or of the leads")
RESIDUE_IF_POWERED = _num("RESIDUE_IF_POWERED", 0.8, "1", "ASSUMED", "a proof of making safe above 10 mV then")
RESIDUE_OTHERWISE = _num("RESIDUE_OTHERWISE", 0.2, "1", "ASSUMED", "the same on a board that is dead enough")
BATTERY_IN_IF_POWERED = _num("BATTERY_IN_IF_POWERED", 0.5, "1", "ASSUMED", "the battery is noted as connected then")
BATTERY_IN_OTHERWISE = _num("BATTERY_IN_OTHERWISE", 0.01, "1", "ASSUMED", "the same without any harm")
PLUG_RAIL_LOW_SICK = _num("PLUG_RAIL_LOW_SICK", 0.3, "1", "PRACTICE", "a sick module shows a low rail at its plug")
PLUG_RAIL_LOW_WELL = _num("PLUG_RAIL_LOW_WELL", 0.01, "1", "ASSUMED", "a healthy one does not")
PLUG_RAIL_LOW_OHM = _num("PLUG_RAIL_LOW_OHM", 20.0, "ohm", "PRACTICE", "below this a module's supply is low")
CLEAN_HELPS = _num("CLEAN_HELPS", 0.5, "1", "ASSUMED", "share of leaks at one contact that are dirt or damp")
RESEAT_HELPS = _num("RESEAT_HELPS", 0.3, "1", "ASSUMED", "share of faults elsewhere that are the seating")
BRIDGE_OHM = _num("BRIDGE_OHM", 2.0, "ohm", "PRACTICE", "contact to contact below this is a bridge")
HELD_BELOW_BRIDGE = _num(
    "HELD_BELOW_BRIDGE", 0.4, "1", "ASSUMED", "what holds a contact to ground, and is no bridge, measures below 2 ohm"
)
ACROSS_OPEN_OHM = _num("ACROSS_OPEN_OHM", 100.0, "ohm", "PRACTICE", "a fuse or ferrite above this is open")
HONEST_LOW_OHM = _num("HONEST_LOW_OHM", 20.0, "ohm", "PRACTICE", "rails below this are compared in ohms")
RAIL_OHM_SD = _num("RAIL_OHM_SD", 0.2, "1", "PRACTICE", "a healthy core rail's ohms from board to board, as a share")
LEAD_NULL_OHM = _num("LEAD_NULL_OHM", 0.1, "ohm", "ASSUMED", "what is left of 0.1 to 0.4 ohm of leads once nulled")
SPEAKS_FOR = _num("SPEAKS_FOR", 3.0, "1", "ASSUMED", "a finding this much likelier under a story is named beside it")
HEAT_FINDS = _num("HEAT_FINDS", 0.7, "1", "PRACTICE", "a short above 50 milliohm shows as heat this often")
MILLIVOLTS_FIND = _num("MILLIVOLTS_FIND", 0.6, "1", "ASSUMED", "a line of millivolts points at the part this often")
BETWEEN_BY_CHANCE = _num(
    "BETWEEN_BY_CHANCE", 0.003, "1", "ASSUMED", "contact to contact under 2 ohm without a bridge: both tips on one"
)
LIFTED_PAD = _num("LIFTED_PAD", 0.15, "1", "ASSUMED", "a contact that is gone is gone with its pad: its tail shows OL")
RAIL_OFF_SHARE = _num("RAIL_OFF_SHARE", 0.1, "1", "ASSUMED", "of its working voltage; below it a rail is not made")
RAIL_MADE_SHARE = _num("RAIL_MADE_SHARE", 0.8, "1", "ASSUMED", "of its working voltage; above it a rail is made")
RAIL_OVER_SHARE = _num("RAIL_OVER_SHARE", 1.08, "1", "PRACTICE", "an LED rail without its string climbs 10 to 25 %")
RAIL_OFF_OTHERWISE = _num("RAIL_OFF_OTHERWISE", 0.15, "1", "ASSUMED", "a rail not made for a reason elsewhere")
LED_AT_INPUT_DRIVER = _num("LED_AT_INPUT_DRIVER", 0.6, "1", "ASSUMED", "LED+ at its input when its driver is damaged")
LED_AT_INPUT_OTHERWISE = _num("LED_AT_INPUT_OTHERWISE", 0.1, "1", "ASSUMED", "the same otherwise: not told to light")
LED_OVER_MODULE = _num("LED_OVER_MODULE", 0.15, "1", "ASSUMED", "LED+ over its working voltage: the string is open")
LED_OVER_OTHERWISE = _num("LED_OVER_OTHERWISE", 0.01, "1", "ASSUMED", "the same otherwise")


EVEN_SIDES = _num(
    "EVEN_SIDES", 0.25, "1", "ASSUMED", "sides that differ by no more of the larger are told as plus and minus"
)
