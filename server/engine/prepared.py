"""What depends on the board, its healthy boards (`known_boards`) and the intake alone: made once, kept by content.

Variables of the latent model are the contacts, in the order they lie, followed by one for each rail
net with several contacts: a rail is one net with one state, so what happens to the net is said of
its own variable, and only what happens to a single contact (torn) of the contact's.
The memo is keyed by content: the same sheet gets the same answer warm or cold.
"""

import math
from typing import NamedTuple

from server.engine.accept import Notes
from server.engine.accepted_board import Board
from server.engine.companions import Companions, companions_of
from server.engine.constants.overstress import OUTCOME_OF
from server.engine.constants.sessions import MEMO_SIZE
from server.engine.constants.stories import BASE_ODD, BASE_ODD_SPLIT, SECOND_FAULT
from server.engine.drops import BAND, MEETS, OTHER_LEAD, SHORT, STATE_WORDS
from server.engine.known_boards import KnownBoards, known_boards
from server.engine.latent import LatentModel
from server.engine.over_range import touch_fails
from server.engine.overstress import net_key
from server.engine.roles import healthy_ol
from server.engine.stories import told
from server.engine.stories.kinds import STATE_OF, Mixture, Scene, Story, scene_of
from server.engine.stories.places import placed
from server.engine.touch_sides import Sides, sides_of
from shared_models.job import Intake
from shared_models.sheet import BenchSheet, Shop

Joins = list[tuple[int, int]]
"""The bridges that a variable could be in: a contact of it, and the place of the other among its neighbours. The
state of the n-th is MEETS + n."""

Numbered = dict[Mixture, int]
"""The mixtures of a variable and which signature each is, in their order."""


class Prepared(NamedTuple):
    """Everything that later readings do not change.

    `mixtures[variable][signature]` is the mixture of states of a signature; `net_variable[contact]`
    the variable that carries the contact's net (its own where the net has one contact);
    `members[variable]` the contacts that inform a variable, `joins[variable]` the bridges it could be in.
    `log_second[story]`: log prior odds of the story being true beside another one, `companions` what comes with a
    story. `known`: the healthy boards, with `board` and `notes` as they were accepted with them.
    """

    board: Board
    scene: Scene
    stories: list[Story]
    model: LatentModel
    mixtures: list[list[Mixture]]
    net_variable: list[int]
    members: list[list[int]]
    joins: list[Joins]
    log_second: list[float]
    companions: Companions
    decisions: list[tuple[str, str]]
    touch_fails: float
    known: KnownBoards
    notes: Notes
    sides: Sides


OWN_WORDS = {STATE_OF[word]: word for word in ("lost", "shifted", "other_lead", "residual")}
OPEN_WHERE_OL = (BAND, OTHER_LEAD, *(STATE_OF[word] for word in ("open", "high", "lost", "shifted")))
"""The states in the words of OUTCOME_OF where those are not the outcome itself; and those that show OL where that is
healthy."""

_MEMO: list[tuple[KnownBoards, tuple[Intake, Shop | None], Prepared]] = []


def prepare(sheet: BenchSheet) -> Prepared:
    """The prepared board of a sheet, from the memo or made now. Raises SheetError as `known_boards` does."""
    known, said = known_boards(sheet), (sheet.intake, sheet.shop)
    for of, when_said, kept in _MEMO:
        if of is known and when_said == said:
            return kept
    prepared = _make(sheet, known)
    if len(_MEMO) >= MEMO_SIZE:
        del _MEMO[0]
    _MEMO.append((known, said, prepared))
    return prepared


def _make(sheet: BenchSheet, known: KnownBoards) -> Prepared:
    board = known.board
    scene = scene_of(board, sheet.intake, sheet.shop)
    stories = told(scene)
    net_variable, members = _variables(board, scene)
    joins = [[(index, place) for index in of for place in range(len(scene.neighbours[index]))] for of in members]
    numbers: list[Numbered] = [{placed(_baseline(), None, board, of[0]): 0} for of in members]
    footprints = [_footprint(story, scene, net_variable, joins, numbers) for story in stories]
    mixtures = [list(of_variable) for of_variable in numbers]
    total = math.fsum(story.weight for story in stories)
    log_priors = [math.log(story.weight / total) for story in stories]
    decisions = sorted({story.decision for story in stories})
    signatures = _signatures(mixtures, scene, members, joins)
    model = LatentModel(signatures, log_priors, footprints, [decisions.index(story.decision) for story in stories])
    log_second = [
        math.log(SECOND_FAULT / (1 - SECOND_FAULT)) + log_prior if footprint else -math.inf
        for log_prior, footprint in zip(log_priors, footprints, strict=True)
    ]
    return Prepared(
        board,
        scene,
        stories,
        model,
        mixtures,
        net_variable,
        members,
        joins,
        log_second,
        companions_of(stories, model.masks, board),
        list(decisions),
        touch_fails(board.socket.pitch_mm, sheet.shop),
        known,
        known.notes,
        sides_of(board),
    )


def _variables(board: Board, scene: Scene) -> tuple[list[int], list[list[int]]]:
    members = [[index] for index in range(len(board.contacts))]
    net_variable = list(range(len(board.contacts)))
    for name in sorted(scene.nets):
        if len(scene.nets[name]) > 1:
            for index in scene.nets[name]:
                net_variable[index] = len(members)
            members.append(list(scene.nets[name]))
    return net_variable, members


def _baseline() -> Mixture:
    odd = tuple((STATE_OF[word], BASE_ODD * part) for word, part in BASE_ODD_SPLIT.items())
    return ((BAND, 1 - BASE_ODD), *odd)


def _footprint(
    story: Story, scene: Scene, net_variable: list[int], joins: list[Joins], numbers: list[Numbered]
) -> list[tuple[int, int]]:
    """The story's footprint on the model's variables, its mixtures numbered as signatures."""
    entries: dict[int, int] = {}
    for contact, mixture in sorted(story.footprint.items()):
        variable = contact
        if net_variable[contact] != contact and story.kind != "contact_torn":
            variable = net_variable[contact]
            if story.kind == "bridge":
                other = next(index for index in story.contacts if index != contact)
                met = _rail_meets(scene, contact, other, joins[variable])
                if met is None:
                    continue
                mixture = met
        mixture = placed(mixture, story, scene.board, contact)
        entries[variable] = numbers[variable].setdefault(mixture, len(numbers[variable]))
    return sorted(entries.items())


def _rail_meets(scene: Scene, contact: int, other: int, joins: Joins) -> Mixture | None:
    """What a rail is once a contact of it is bridged to another net: whichever of the two reads lower holds the other
    down, at every contact of the rail. None: what shows OL leaves it where it is.
    """
    one = scene.board.contacts[other]
    if one.role == "ground":
        return ((SHORT, 1.0),)
    if healthy_ol(one):
        return None
    return ((MEETS + joins.index((contact, scene.neighbours[contact].index(other))), 1.0),)


def _signatures(
    mixtures: list[list[Mixture]], scene: Scene, members: list[list[int]], joins: list[Joins]
) -> list[list[tuple[float, ...]]]:
    """Of each variable's mixtures what a touch would show: (in band, near zero, low, high, OL). For choosing touches
    only. Most contacts have the same few.
    """
    known: dict[tuple[bool, Mixture], tuple[float, ...]] = {}
    told: list[list[tuple[float, ...]]] = []
    for of_variable, of, met in zip(mixtures, members, joins, strict=True):
        shows_ol = healthy_ol(scene.board.contacts[of[0]])
        as_open = OPEN_WHERE_OL if shows_ol else ()
        rows = []
        for mixture in of_variable:
            row = known.get((shows_ol, mixture))
            if row is None:
                row = _shown([("open" if state in as_open else _word(state, scene, met), w) for state, w in mixture])
                if max(mixture)[0] < MEETS:  # what a bridge joins is the contact's own
                    known[shows_ol, mixture] = row
            rows.append(row)
        told.append(rows)
    return told


def _shown(words: list[tuple[str, float]]) -> tuple[float, ...]:
    row = [0.0, 0.0, 0.0, 0.0, 0.0]
    for word, weight in words:
        for place, share in enumerate(OUTCOME_OF[word]):
            row[place] += weight * share
    total = math.fsum(row)
    return tuple([share / total for share in row])


def _word(state: int, scene: Scene, joins: Joins) -> str:
    """The state in the words of OUTCOME_OF; a bridge by what it joins."""
    if state < MEETS:
        return OWN_WORDS.get(state, STATE_WORDS[state])
    contact, place = joins[state - MEETS]
    other = scene.board.contacts[scene.neighbours[contact][place]]
    if other.role == "ground":
        return "short"
    if healthy_ol(scene.board.contacts[contact]):
        return "low"  # shows its neighbour's number where OL is healthy
    return "expected" if healthy_ol(other) else "low"


def net_of(prepared: Prepared, contact: int) -> str:
    """The net's name of a contact, for words."""
    return net_key(prepared.board.contacts[contact])
