"""The bracketed text that KiCad writes, read in one pass without recursion.

A token is a quoted string with backslash escapes, a bracket, or an atom: its first character is no space,
bracket or quote, the rest goes on to the next space or bracket (a quote inside an atom is a letter of it).
Decides: where a list begins and ends, and what is wrong where it does not. Leaves to others: what a list means.
"""

import re
from collections.abc import Callable, Collection, Iterator

from server.boards.board_file import LARGEST_NAME, place_in, refused
from server.problems import Refusal

Node = list["str | Node"]
"""A list of the text: its head first; everything that is no list stays text."""

TOLD_EVERY = 10_000
DEEPEST = 64
"""Levels of brackets; real boards have under 12."""

_STRING = r'"[^"\\]*(?:\\.[^"\\]*)*"'
_FLAT = rf'[^()"]*(?:{_STRING}[^()"]*){{0,4}}'
_TOKEN = (
    rf'\((?P<corner>xy\s[^()"]*)\)|(?P<string>{_STRING})|(?P<bracket>[()])'
    r'|(?P<atom>[^\s()"][^\s()]*)|(?P<open>")|\Z'
)
# a track, a hole, a corner: most of a file, taken in one step where a reader has no use for it; the counts are
# bounds on what a hostile file can make it look at in vain
_DULL = rf'(?P<dull>\((?:HEADS)\s{_FLAT}(?:\({_FLAT}\){_FLAT}){{0,16}}\))'
_ESCAPE = re.compile(r"\\(.)", re.DOTALL)
_ESCAPED = {"n": "\n", "t": "\t", "r": "\r"}
_EXAMPLE = '(kicad_pcb (version 20241229) (footprint "R_0402" ...))'


def children_of(
    text: str, kept: Collection[str], dull: Collection[str], told: Callable[[int], None] = lambda _: None
) -> Iterator[tuple[int, Node]]:
    """The lists directly inside the one list that the text is, whose heads are in `kept`, with their offsets.

    Lists whose heads are in `dull` are left out wherever they stand. The first item given is the outer list's
    head alone. `told` hears now and then how far the reading has come.

    Raises:
        Refusal: 422 with the place of a bracket too many or one missing, of a string without an end, or of
            what stands outside.
    """
    token = re.compile(rf"\s*(?:{_DULL.replace('HEADS', '|'.join(sorted(dull)))}|{_TOKEN})", re.DOTALL)
    dull_heads = frozenset(dull)
    stack: list[Node] = []  # lists that are open and kept, below the outer one
    opened: list[int] = []  # offsets of the brackets that are open
    skipped_at = 0  # how deep the list is that is being left out; 0: none
    fresh = ended = False  # the last token opened a list; the outer list was closed
    for count, match in enumerate(token.finditer(text)):
        kind = match.lastgroup
        if not count % TOLD_EVERY:
            told(match.start())
        if (kind == "dull" and opened) or kind is None:
            continue
        if kind == "corner" and opened:
            if stack and not skipped_at:
                stack[-1].append([*match[kind].split()])
            continue
        start = match.start(kind)
        if kind == "open":
            raise refused(
                "string_without_end", "A quoted text has no end.", where=place_in(text, start),
                given=text[start : start + 40], expected='a second "', example=_EXAMPLE,
            )
        if kind == "bracket" and text[start] == ")":
            if not opened:
                raise _bracket_too_many(text, start)
            began = opened.pop()
            if skipped_at:
                skipped_at = 0 if len(opened) < skipped_at else skipped_at
            elif opened and not fresh:
                node = stack.pop()
                if stack:
                    stack[-1].append(node)
                else:
                    yield began, node
            fresh, ended = False, not opened
            continue
        if ended or (kind != "bracket" and not opened):
            raise _outside(text, start)
        if kind == "bracket":
            opened.append(start)
            if len(opened) > DEEPEST or (fresh and not skipped_at):
                raise _no_board(text, start, len(opened))
            fresh = True
        elif skipped_at:
            fresh = False
        else:
            word = _plain(match[kind]) if kind == "string" else match[kind][:LARGEST_NAME]
            if not fresh:
                if stack:
                    stack[-1].append(word)
                continue
            fresh = False
            if len(opened) == 1:
                yield start, [word]
            elif word in dull_heads or (len(opened) == 2 and word not in kept):
                skipped_at = len(opened)
            else:
                stack.append([word])
    if opened:
        raise refused(
            "file_ends_early", "The file ends in the middle: it was cut short, or a closing bracket is missing.",
            where=f"the end; open since {place_in(text, opened[-1])}",
            given=text[opened[-1] : opened[-1] + 40].split("\n")[0], expected=f"{len(opened)} more )", example=_EXAMPLE,
        )


def _bracket_too_many(text: str, offset: int) -> Refusal:
    return refused(
        "bracket_too_many", "There is a closing bracket without an opening one.", where=place_in(text, offset),
        given=text[max(offset - 20, 0) : offset + 1].strip(), expected="as many ) as (", example=_EXAMPLE,
    )


def _no_board(text: str, offset: int, depth: int) -> Refusal:
    return refused(
        "too_deep" if depth > DEEPEST else "list_without_name", "The brackets are not nested as a board's are.",
        where=place_in(text, offset), given=f"{depth} levels" if depth > DEEPEST else "a list that begins with a list",
        expected=f"lists that begin with a name, at most {DEEPEST} levels", example=_EXAMPLE,
    )


def _outside(text: str, offset: int) -> Refusal:
    return refused(
        "outside_the_board",
        "Something stands outside the board's own brackets: a closing bracket too many before it, or two files in one.",
        where=place_in(text, offset), given=text[offset : offset + 40].split("\n")[0],
        expected="nothing before the board's first ( and after its last )", example=_EXAMPLE,
    )


def _plain(quoted: str) -> str:
    inner = quoted[1:-1][:LARGEST_NAME]
    return inner if "\\" not in inner else _ESCAPE.sub(lambda found: _ESCAPED.get(found[1], found[1]), inner)


def child(node: Node, head: str) -> Node | None:
    """The first list inside `node` with this head."""
    return next((one for one in node if isinstance(one, list) and one[0] == head), None)


def children(node: Node, head: str) -> list[Node]:
    """All lists inside `node` with this head."""
    return [one for one in node if isinstance(one, list) and one[0] == head]


def words(node: Node) -> list[str]:
    """What stands in `node` after its head and is no list."""
    return [one for one in node[1:] if isinstance(one, str)]
