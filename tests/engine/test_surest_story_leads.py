"""Two faults at once: the account begins with the one that is sure, and names the doubtful one beside it."""

from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.reading import BetweenContacts, Reading
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = [str(n) for n in range(2, 8)]
BUS = [str(n) for n in range(9, 13)]
BOARD = board_of([
    line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in LANES), line("8", "ground"),
    *(line(n, "bus", leads_to="U2") for n in BUS), line("13", "ground"),
])  # fmt: skip
HEALTHY = {**dict.fromkeys(LANES, 338.0), **dict.fromkeys(BUS, 512.0), "3": 402.0}


def joined(typed: str) -> Reading:
    one = touched({"3": typed}, prefix="joined")[0]
    between = BetweenContacts(contact_a="2", contact_b="3")
    return replace(one, kind="ohms", touch=between, display_unit="ohm", lead_on_ground=None)


def test_a_bridge_that_was_measured_leads_whatever_else_may_be_wrong_with_the_board() -> None:
    read = {**HEALTHY, "2": 326.0, "3": 326.0, "10": 430.0}  # and a line of the other chip low, for some other reason
    opinion = form_opinion(sheet_of(BOARD, (*touched(read), joined("1.2")), known=nine_boards(HEALTHY)))
    first = opinion.stories[0]
    assert (first.kind, first.explains) == ("bridge", ("2", "3"))
    assert first.odds > 0.95
    assert first.leaves_open == ("10",)
    [said] = [one.sentence for one in first.reasons if one.code == "leaves_open"]
    assert said.startswith("Does not explain 10. Beside it may be, likeliest first: Leak at 10")
    assert "U2" in said, "what else would explain it is named too"
    assert all("bridge" not in (one.second or "") for one in opinion.stories[1:])
