"""Ways of going on, in words: what each is, what can go wrong, why it stands where it stands."""

from server.engine.rounding import probability
from server.engine.wording_power import listed
from shared_models.chances import OptionKind
from shared_models.reason import Number, Reason
from shared_models.tables import OPTIONS

_WORDS: dict[str, str] = {row.id: row.words for row in OPTIONS}
TITLES = {**_WORDS, "replace_chip": "Replace the chip"}
GOES_WRONG = {
    "reseat_or_clean": "A worn socket takes few more seats; damp that is powered before it is dry eats on.",
    "other_module": "A short or a live rail takes the new module too: rails proved first, its own rail read.",
    "replace_part": "A neighbour is knocked off or a pad lifts; heat travels.",
    "replace_chip": "Pads lift, underfill tears, neighbours move; heat goes into whatever lies near.",
    "replace_socket": "Pads lift or the plastic melts into them; what was one torn contact is then a row of them.",
    "donor_board": "It fits in its own revision only, and may be locked to its own module.",
    "move_data_set": "Every chip is lifted and set again: one that dies takes all of them with it, and the data.",
    "specialist": "Days go by, and what was tried before is asked first.",
    "stop": "Left as it is, nothing gets worse if it is kept dry and without power.",
}


def heading(row: str, parts: tuple[str, ...], rails: tuple[str, ...], contacts: tuple[str, ...]) -> str:
    """The way with what it is about: its parts, the rails whose short is still to be found, or the contacts."""
    found = " and ".join(rails)
    said = [" ".join((TITLES[row], listed(parts)))] if parts else []
    if rails:
        said.append(f"{'find' if said else 'Find'} what shorts {found} and replace it")
    if contacts and not said:
        said.append(f"{TITLES[row]} at {listed(contacts)}")
    return ", ".join(said) or TITLES[row]


def order_reasons(by_cost: bool, two_faults: float | None, data_matters: bool, said: str) -> tuple[Reason, ...]:
    """Why the ways stand in this order."""
    per = "per cost" if by_cost else "per hour, since the shop has not said what an hour and the parts cost"
    told = [Reason(code="p_per_cost", sentence=f"By the chance that it is the mend, {per}.")]
    if two_faults is not None:
        told.append(
            Reason(
                code="p_per_cost_does_not_hold",
                sentence="More than one thing is wrong, most likely: that rule is for a single fault and only a "
                "start here. Each way counts by its own part, and one alone will hardly do.",
                numbers=(Number(name="odds", value=probability(two_faults)),),
            )
        )
    if data_matters:
        asked = "" if said == "yes" else " Nobody has asked the owner yet: taken as if they do."
        told.append(
            Reason(
                code="data_first",
                sentence="Data matter, so what cannot be undone comes last, after somebody who does only data: a part "
                f"that is gone cannot be asked again.{asked}",
            )
        )
    return tuple(told)


def way_reasons(
    kind: OptionKind, undone: str, storage: str, data_matters: bool, beside: tuple[OptionKind, ...]
) -> tuple[Reason, ...]:
    """What the trade holds of one way of going on; `beside`: the ways that are needed as well."""
    told = []
    if beside:
        others = listed([_WORDS[other][0].lower() + _WORDS[other][1:] for other in beside])
        sentence = f"It mends one part of what is wrong; needed as well: {others}."
        told.append(Reason(code="does_its_part", sentence=sentence))
    if kind == "donor_board":
        drive = storage == "removable"
        sentence = (
            "Brings the machine back; the drive goes along, and the data with it."
            if drive
            else "Brings the machine back, not the data: they stay behind on the old board."
        )
        told.append(Reason(code="donor_not_data" if not drive else "donor_with_drive", sentence=sentence))
    if kind == "move_data_set":
        told.append(
            Reason(
                code="set_is_data_method",
                sentence="A data method, not a repair: processor, memory and storage are one set and go together.",
            )
        )
    if kind == "specialist" and data_matters:
        told.append(Reason(code="before_it_gets_worse", sentence="Before somebody makes it worse, not after."))
    if undone == "no" and data_matters:
        told.append(Reason(code="last_since_data", sentence="Last, since it cannot be undone and data matter."))
    return tuple(told)
