"""Published pin tables, entered as a shop would paste them: camera FPC of 22 contacts, HDMI type A.

Sources: camera FPC, 22-way 0.5 mm: the Zephyr project's binding `raspberrypi,csi-connector`
(docs.zephyrproject.org). HDMI type A: pinouts.ru and the KiCad symbol `HDMI_A`; facts (number to signal)
were typed from them. HDMI's two contact rows alternate: from the shape of the receptacle, from memory.

Does not prove: that a proposed role is right on a given board; which voltage a line carries there.
"""

from server.engine.pin_table import pin_table
from server.engine.socket_rows import numbering_of, rows_of
from shared_models.pin_table import ColumnMap, ContactNumbering, PinTableQuestion

CAMERA = """1;GND
2;D0N
3;D0P
4;GND
5;D1N
6;D1P
7;GND
8;CKN
9;CKP
10;GND
11;D2N
12;D2P
13;GND
14;D3N
15;D3P
16;GND
17;IO0
18;IO1
19;GND
20;SCL
21;SDA
22;3V3
"""

HDMI = """pin,signal,row
1,D2+,upper
2,D2 shield,lower
3,D2-,upper
4,D1+,lower
5,D1 shield,upper
6,D1-,lower
7,D0+,upper
8,D0 shield,lower
9,D0-,upper
10,CK+,lower
11,CK shield,upper
12,CK-,lower
13,CEC,upper
14,Utility,lower
15,SCL,upper
16,SDA,lower
17,DDC/CEC ground,upper
18,+5 V,lower
19,HPD,upper
"""


def test_the_camera_fpc_comes_in_whole_with_the_roles_its_names_speak_for() -> None:
    numbers = tuple(str(number) for number in range(1, 23))
    table = pin_table(PinTableQuestion(
        text=CAMERA, delimiter="semicolon", first_line="contact", columns=ColumnMap(contact=1, name=2),
        socket_contacts=numbers,
    ))
    assert table.errors == ()
    roles = {contact.number: contact.role for contact in table.contacts}
    assert tuple(roles) == numbers
    assert [number for number, role in roles.items() if role == "ground"] == ["1", "4", "7", "10", "13", "16", "19"]
    assert [number for number, role in roles.items() if role == "lane"] == [
        "2", "3", "5", "6", "8", "9", "11", "12", "14", "15"
    ]
    assert [roles[number] for number in ("17", "18", "20", "21", "22")] == [
        "control", "control", "bus", "bus", "panel_supply"
    ]
    assert {contact.role_origin for contact in table.contacts} == {"proposed"}


def test_hdmi_type_a_comes_in_with_its_alternating_rows() -> None:
    table = pin_table(PinTableQuestion(
        text=HDMI, delimiter="comma", first_line="heading", columns=ColumnMap(contact=1, name=2, row=3),
    ))
    assert table.errors == ()
    counted = ContactNumbering(row_lengths=(10, 9), order="odd_even")
    assert [row.contacts for row in table.rows] == [row.contacts for row in rows_of(counted)]
    assert numbering_of(table.rows) == counted
    by_name = {contact.name: (contact.number, contact.role) for contact in table.contacts}
    assert by_name["+5 V"] == ("18", "rail_5v")
    assert by_name["HPD"] == ("19", "hot_plug_detect")
    assert by_name["DDC/CEC ground"] == ("17", "ground")
    assert by_name["Utility"] == ("14", "unknown")
    # the neighbours of +5 V in the other row, and two away in its own
    lower = table.rows[1].contacts
    assert lower[lower.index("18") - 1] == "16"


def test_the_camera_fpc_with_a_contact_left_out_is_refused_and_nothing_of_it_is_kept() -> None:
    table = pin_table(PinTableQuestion(
        text=CAMERA.replace("13;GND\n", ""), delimiter="semicolon", first_line="contact",
        columns=ColumnMap(contact=1, name=2), socket_contacts=tuple(str(number) for number in range(1, 23)),
    ))
    assert table.contacts == ()
    assert [(error.problem.code, error.problem.example) for error in table.errors] == [("missing_contact", "13")]
