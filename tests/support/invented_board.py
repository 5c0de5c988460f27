"""An invented display board, written in every format that is read: one design, so that the files must agree.

J1 has 14 contacts: a light's feed from a boost, a lane behind capacitors, a USB pair through a choke, hot-plug
through a resistor, a supply through a ferrite, a strap, lines through an array, and one through a part that is not
fitted. Names, values and places are made up.
"""

from typing import NamedTuple


class Pad(NamedTuple):
    """A pad in its part's own frame, millimetres."""

    number: str
    net: str | None
    u_mm: float = 0.0
    v_mm: float = 0.0
    function: str = ""


class Part(NamedTuple):
    """A part of the design."""

    ref: str
    value: str
    footprint: str
    x_mm: float
    y_mm: float
    pads: tuple[Pad, ...]
    bottom: bool = False
    attributes: str = "smd"
    extra: str = ""


EDGE = ("0 0) (end 80 0", "80 0) (end 80 40", "78 41.5) (end 0 41.5", "0 41.5) (end 0 0")
"""The board's edge but for one rounded corner."""


def two(ref: str, value: str, footprint: str, one: str, other: str, x_mm: float, y_mm: float, **more: object) -> Part:
    """A part of two pads."""
    return Part(ref, value, footprint, x_mm, y_mm, (Pad("1", one, -0.5), Pad("2", other, 0.5)), **more)  # type: ignore[arg-type]


J1_NETS = (
    "GND", "/Display/LED_FEED", "/Display/LED_FEED", "GND", "/Display/TX0_P", "/Display/TX0_N", "GND", "/HPD",
    "/LCD_VCC",
    "/USB_CON_P", "/USB_CON_N", "/ID", "/BUS/SDA", "/NOT_FITTED",
)
FUNCTIONS = ("GND", "LED+", "LED+", "GND", "D0+", "D0-", "GND", "HPD", "VCC", "D+", "D-", "ID", "SDA", "AUX_EN")

PARTS: tuple[Part, ...] = (
    Part("J1", "DISPLAY", "Connector_FFC:ZIF_1x14", 50, 10, (
        *(Pad(str(at + 1), net, 0.5 * at, 0.0, FUNCTIONS[at]) for at, net in enumerate(J1_NETS)),
        Pad("MP", "GND", -2.0, 2.0), Pad("MP", "GND", 9.0, 2.0),
    )),
    two("D1", "SCHOTTKY", "Diode_SMD:D_SOD-123", "/Display/LED_FEED", "/SW", 40, 20),
    two("L1", "22uH", "Inductor_SMD:L_4x4", "/SW", "/VSYS", 36, 20),
    two("C1", "4.7uF", "Capacitor_SMD:C_1206", "/Display/LED_FEED", "GND", 44, 20),
    Part("TP1", "TestPoint", "TestPoint:TestPoint_Pad_D1.0mm", 46, 22, (Pad("1", "/Display/LED_FEED"),), bottom=True),
    two("R1", "180K", "Resistor_SMD:R_0402", "/Display/LED_FEED", "/FEEDBACK", 44, 24),
    two("C2", "100nF", "Capacitor_SMD:C_0201", "/Display/TX0_P", "/TX0_CHIP_P", 52, 20),
    two("C3", "100nF", "Capacitor_SMD:C_0201", "/Display/TX0_N", "/TX0_CHIP_N", 53, 20),
    two("R2", "1k", "Resistor_SMD:R_0402", "/HPD", "/HPD_CHIP", 54, 20),
    two("R3", "100K", "Resistor_SMD:R_0402", "/HPD", "GND", 55, 20),
    two("FB1", "220R@100MHz", "Inductor_SMD:L_0603", "/LCD_VCC", "+3V3", 56, 20),
    two("C4", "10uF", "Capacitor_SMD:C_0603", "/LCD_VCC", "GND", 57, 20),
    Part("L2", "90R@100MHz", "Filter:CommonMode_4pin_choke", 58, 20, (
        Pad("1", "/USB_CON_P", -0.5, -0.3), Pad("2", "/USB_P", 0.5, -0.3),
        Pad("3", "/USB_N", 0.5, 0.3), Pad("4", "/USB_CON_N", -0.5, 0.3),
    )),
    Part("D2", "ESD_ARRAY", "Package:ESD_5", 59, 20, (
        Pad("1", "/USB_CON_P", -0.5), Pad("2", "GND"), Pad("3", "/USB_CON_N", 0.5),
    )),
    two("R4", "10k", "Resistor_SMD:R_0402", "/ID", "GND", 60, 20),
    Part("RN1", "33R", "Resistor_SMD:R_Array_4x0402", 61, 20, (
        Pad("1", "/BUS/SDA", -0.5, -0.75), Pad("2", "/A2", -0.5, -0.25), Pad("3", "/A3", -0.5, 0.25),
        Pad("4", "/A4", -0.5, 0.75), Pad("5", "/B4", 0.5, 0.75), Pad("6", "/B3", 0.5, 0.25), Pad("7", "/B2", 0.5,
        -0.25),
        Pad("8", "/SDA_CHIP", 0.5, -0.75),
    )),
    two("R5", "2.2k", "Resistor_SMD:R_0402", "/SDA_CHIP", "+1V8", 62, 20),
    two("R6", "(na)0R", "Resistor_SMD:R_0402", "/NOT_FITTED", "/AUX_CHIP", 63, 20),
    two("NT1", "NetTie", "NetTie:NetTie-2_SMD_Pad0.5mm", "/AGND", "GND", 64, 20),
    two("C5", "100nF", "Capacitor_SMD:C_0402", "+1V8", "/AGND", 65, 20),
    two("C6", "10uF", "Capacitor_SMD:C_0603", "/VSYS", "GND", 30, 20),
    two("C7", "10uF", "Capacitor_SMD:C_0603", "/VSYS", "GND", 31, 20),
    Part("U1", "BRIDGE", "Package_DFN_QFN:QFN-16-1EP", 55, 30, tuple(
        Pad(number, net, u, v) for number, net, u, v in (
            ("1", "/TX0_CHIP_P", -2, -1), ("2", "/TX0_CHIP_N", -2, 0), ("3", "/HPD_CHIP", -2, 1), ("4", "/USB_P", -1,
            2),
            ("5", "/USB_N", 0, 2), ("6", "/SDA_CHIP", 1, 2), ("7", "/AUX_CHIP", 2, 1), ("8", "+1V8", 2, 0),
            ("9", "+3V3", 2, -1), ("10", "GND", 0, -2), ("17", "GND", 0, 0),
        )
    )),
    Part("U2", "BOOST", "Package_TO_SOT_SMD:SOT-23-6", 38, 24, (
        Pad("1", "/SW", -1, -1), Pad("2", "GND", -1, 0), Pad("3", "/FEEDBACK", -1, 1), Pad("4", "/BL_EN", 1, 1),
        Pad("5", "/VSYS", 1, 0),
    )),
    Part("H1", "MountingHole", "MountingHole:MountingHole_3mm", 5, 5, (Pad("", None),), attributes="exclude_from_bom"),
)


def quoted(text: str, version: int) -> str:
    """A name as that version writes it: bare up to 5 where it can be, in quotes from 6."""
    if version < 20200000 and text and not any(letter in text for letter in ' ()"'):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def kicad(version: int = 20241229, parts: tuple[Part, ...] = PARTS) -> str:
    """The design as a .kicad_pcb of a version: 20171114 (5), 20211014 (6), 20241229 (9), 20260206 (10)."""
    nets = list(dict.fromkeys(pad.net for part in parts for pad in part.pads if pad.net))
    old, names_only = version < 20200000, version >= 20251028
    lines = [f"(kicad_pcb (version {version}) {'(host pcbnew 1)' if old else '(generator pcbnew)'}"]
    if old:
        lines.append(f"  (general (thickness 1.6) (modules {len(parts)}) (nets {len(nets) + 1}))")
    back, edge = (2, 25) if version >= 20241000 else (31, 44)
    lines.append(f'  (layers (0 {quoted("F.Cu", version)} signal) ({back} {quoted("B.Cu", version)} signal)'
                 f' ({edge} {quoted("Edge.Cuts", version)} user))')
    if not names_only:
        lines += [f'  (net {at} {quoted(net, version) if net else chr(34) * 2})' for at, net in enumerate(["", *nets])]
    for part in parts:
        lines += _part(part, version, nets, names_only)
    lines += [
        *(f'  (gr_line (start {line}) (layer "Edge.Cuts") (width 0.1))' for line in EDGE),
        '  (gr_arc (start 80 40) (mid 79 41) (end 78 41.5) (layer "Edge.Cuts") (width 0.1))',
        '  (segment (start 1 1) (end 2 2) (width 0.2) (layer "F.Cu") (net 1))',
        '  (zone (net 1) (net_name "GND") (layer "F.Cu") (polygon (pts (xy 0 0) (xy 80 0) (xy 80 40))))', ")",
    ]
    return "\n".join(lines) + "\n"


def _part(part: Part, version: int, nets: list[str], names_only: bool) -> list[str]:
    head = "module" if version < 20200000 else "footprint"
    layer = "B.Cu" if part.bottom else "F.Cu"
    lines = [f'  ({head} {quoted(part.footprint, version)} (layer {quoted(layer, version)})',
        f"    (at {part.x_mm} {part.y_mm})"]
    if version >= 20230620:
        lines += [f'    (property "Reference" "{part.ref}" (at 0 0))',
            f'    (property "Value" "{part.value}" (at 0 1))']
    else:
        lines += [
            f"    (fp_text reference {quoted(part.ref, version)} (at 0 0) (layer F.SilkS))",
            f"    (fp_text value {quoted(part.value, version)} (at 0 1) (layer F.Fab))",
        ]
    lines.append(f"    (attr {part.attributes}){part.extra}")
    lines.append("    (fp_line (start -1 -1) (end 1 1) (layer F.SilkS) (width 0.1))")
    for pad in part.pads:
        net = "" if pad.net is None else (
            f' (net "{pad.net}")' if names_only else f" (net {nets.index(pad.net) + 1} {quoted(pad.net, version)})"
        )
        function = f"{pad.function}_{pad.number}" if names_only else pad.function
        told = f' (pinfunction "{function}")' if pad.function and version >= 20191123 else ""
        lines.append(
            f"    (pad {quoted(pad.number, version) if pad.number else chr(34) * 2} smd rect (at {pad.u_mm} {pad.v_mm})"
            f" (size 0.3 0.5) (layers {quoted(layer, version)}){net}{told})"
        )
    return [*lines, "  )"]


def ipc356(parts: tuple[Part, ...] = PARTS, units: str = "CUST 0") -> str:
    """The design as a test list, names cut as the format cuts them, nets of more than 14 letters by an alias."""
    nets = list(dict.fromkeys(pad.net for part in parts for pad in part.pads if pad.net))
    alias = {net: f"m{at:04d}" if len(net) > 14 else net for at, net in enumerate(nets)}
    lines = ["P  JOB   invented", "P  CODE  00", f"P  UNITS {units}"]
    lines += [f"P  NNAME{short} {net}" for net, short in alias.items() if short != net]
    for part in parts:
        for pad in part.pads:
            if pad.net is None or not pad.number:
                continue
            x, y = (round((one + other) / 0.00254) for one, other in ((part.x_mm, pad.u_mm), (-part.y_mm, -pad.v_mm)))
            lines.append(
                f"327{alias[pad.net]:<14}   {part.ref[:6]:<6}-{pad.number[:4]:<4} {'':>6}"
                f"A{10 if part.bottom else 1:02d}X{x:+07d}Y{y:+07d}X0118Y0197R000S1"
            )
    return "\r\n".join([*lines, "317GND              VIA         D0100PA00X+001000Y+001000X0200Y0000R000S3", "999", ""])


def ipc2581(parts: tuple[Part, ...] = PARTS, *, with_nets: bool = True) -> bytes:
    """The design as IPC-2581, a package for each part."""
    pins = "".join(
        f'<Package name="{part.ref}P">' + "".join(
            f'<Pin number="{pad.number}"><Location x="{pad.u_mm}" y="{-pad.v_mm}"/></Pin>' for pad in part.pads
            if pad.number
        ) + "</Package>" for part in parts
    )
    placed = "".join(
        f'<Component refDes="{part.ref}" packageRef="{part.ref}P" part="{part.value}"'
        f' layerRef="{"BOTTOM" if part.bottom else "TOP"}">'
        f'<Location x="{part.x_mm}" y="{-part.y_mm}"/></Component>' for part in parts
    )
    nets = list(dict.fromkeys(pad.net for part in parts for pad in part.pads if pad.net and pad.number))
    logical = "".join(
        f'<LogicalNet name="{net}">' + "".join(
            f'<PinRef componentRef="{part.ref}" pin="{pad.number}"/>' for part in parts for pad in part.pads
            if pad.net == net
        ) + "</LogicalNet>" for net in nets
    ) if with_nets else ""
    return (
        '<?xml version="1.0" encoding="UTF-8"?><IPC-2581 revision="B" xmlns="http://webstds.ipc.org/2581"><Ecad>'
        '<CadHeader units="MILLIMETER"/><CadData>'
        f'<Step name="board">{pins}{placed}{logical}</Step></CadData></Ecad></IPC-2581>'
    ).encode()


def pin_list(parts: tuple[Part, ...] = PARTS) -> str:
    """The design as a CSV of pins: Net, Part, Pin, in an order of its own."""
    rows = [f'"{pad.net}",{part.ref},{pad.number}' for part in parts for pad in part.pads if pad.net and pad.number]
    return "\n".join(["Net,Part,Pin", *dict.fromkeys(rows[::-1])]) + "\n"
