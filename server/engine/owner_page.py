"""The owner's page: one page in plain words, each of them fixed, from the record or from the opinion.

What the record does not hold is not on the page: a part without words is left out, never filled. Words that look as
if they held a pass code stand on no paper. Also runs on the phone, so the page is made without a network.
"""

import msgspec

from server.engine.constants.papers import (
    BESIDE_ODDS,
    NAME_ON_PAGE,
    NAMES_ON_PAGE,
    OWN_WORDS_ON_PAGE,
    RETURNED_ON_PAGE,
    SETTLED_ODDS,
)
from server.engine.local_time import day_words
from server.engine.owner_ahead import advice, chances_on_page, rests_on, waiting
from server.engine.owner_numbers import numbers_on_page
from server.engine.owner_words import BOARD_READS_WELL, DID_WORDS, OWN_MEASURING, SEEN_WORDS, SENTENCES, cut, line, tens
from server.engine.papers import (
    Papers,
    custody_in_order,
    meter_names,
    money,
    newest_consents,
    papers_of,
    standing_closing,
)
from server.engine.pass_codes import holds_pass_code
from server.engine.proof import is_odd
from shared_models.hand_back import CUSTODY_OF
from shared_models.opinion import Opinion
from shared_models.owner_page import (
    OwnerPage,
    PageNumber,
    PagePhoto,
    PageSignature,
    PaperLine,
    PapersQuestion,
)
from shared_models.tables import SYMPTOMS, WHAT_HAPPENED

_decoder = msgspec.json.Decoder(PapersQuestion)
_encoder = msgspec.json.Encoder()

_HAPPENED = {one.id: one.words for one in WHAT_HAPPENED}
_RETURNED = {one.id: one.words[0].upper() + one.words[1:] for one in CUSTODY_OF}
_SYMPTOMS = {one.id: one.words for one in SYMPTOMS}


def owner_page(question: PapersQuestion) -> OwnerPage:
    """The page of a job. Raises SheetError where no opinion can be formed on its sheet."""
    papers = papers_of(question)
    numbers = numbers_on_page(papers)
    sheet, shop = question.sheet, question.shop
    device = cut(sheet.board.device, NAME_ON_PAGE) if sheet is not None else ""
    return OwnerPage(
        title=line("title", device=device) if device else line("title_plain"),
        shop=cut(shop.name, NAME_ON_PAGE) if shop is not None else "",
        day=day_words(question.made_at_ms, question.minutes_east),
        told=_told(question),
        came_in=_came_in(papers),
        photos=_photos(papers),
        found=_found(papers),
        numbers=numbers,
        numbers_are=_numbers_are(numbers, question),
        after_work=_after_work(papers),
        done=_done(question),
        chances=chances_on_page(papers),
        chances_rest_on=rests_on(papers),
        advice=advice(papers),
        cost=_cost(question),
        waiting=waiting(papers),
        not_looked_at=_not_looked_at(papers),
        files=_files(question),
        returned=_returned(question),
        measured_by=_made_by(question),
        received=_received(papers),
    )


def owner_page_json(question_json: bytes) -> bytes:
    """A PapersQuestion as JSON -> the OwnerPage as JSON. Raises msgspec's errors with a path, or SheetError."""
    return _encoder.encode(owner_page(_decoder.decode(question_json)))


def _told(question: PapersQuestion) -> tuple[PaperLine, ...]:
    intake = question.job.intake
    told = []
    if happened := tuple(words for each, words in _HAPPENED.items() if each in intake.what_happened):
        told.append(line("told_happened", what=happened))
    if symptoms := tuple(words for each, words in _SYMPTOMS.items() if each in intake.symptoms):
        told.append(line("told_symptoms", what=symptoms))
    if intake.in_their_words.strip() and not holds_pass_code(intake.in_their_words):
        told.append(line("told_words", words=cut(intake.in_their_words, OWN_WORDS_ON_PAGE)))
    if intake.data_matters != "not_asked":
        told.append(line(f"told_data_{intake.data_matters}"))
    return tuple(told)


def _came_in(papers: Papers) -> tuple[PaperLine, ...]:
    question = papers.question
    until = papers.after_from_ms
    seen = {one.seen for one in question.observations if until is None or one.seen_at_ms < until}
    told = []
    if question.job.opened_at_ms:
        told.append(line("came_in_when", day=day_words(question.job.opened_at_ms, question.minutes_east)))
    if what := tuple(words for each, words in SEEN_WORDS.items() if each in seen):
        told.append(line("came_in", what=what))
    return tuple(told)


def _photos(papers: Papers) -> tuple[PagePhoto, ...]:
    """The first picture of the job, and the last one taken since it was read again after the work."""
    photos = sorted(papers.question.photos, key=lambda one: (one.taken_at_ms, one.id))
    if not photos:
        return ()
    after_from = papers.after_from_ms
    first, last = photos[0], photos[-1]
    shown = []
    if after_from is None or first.taken_at_ms < after_from:
        caption = line("photo_before", when=papers.when(first.taken_at_ms))
        shown.append(PagePhoto(photo_id=first.id, sha256=first.sha256, when="before", caption=caption))
    if after_from is not None and last.taken_at_ms >= after_from:
        caption = line("photo_after", when=papers.when(last.taken_at_ms))
        shown.append(PagePhoto(photo_id=last.id, sha256=last.sha256, when="after", caption=caption))
    return tuple(shown)


def _found(papers: Papers) -> tuple[PaperLine, ...]:
    """What was found, in one sentence, how sure that is, and what is found beside it."""
    opinion = papers.opinion
    if opinion is None or not any(one.touches for one in opinion.contacts) or not opinion.stories:
        return (line("nothing_read"),)
    if opinion.stories[0].kind in OWN_MEASURING:
        return (line("own_measuring"),)
    odds: dict[str, float] = {}
    for story in opinion.stories:
        code = _sentence_of(story.kind, story.subject, papers)
        if code in SENTENCES:
            odds[code] = odds.get(code, 0.0) + story.odds
    best = max(sorted(odds), key=lambda code: odds[code])
    told = [] if odds[best] >= SETTLED_ODDS else [line("unsettled")]
    odd = [one for one in opinion.contacts if is_odd(one)]
    if best == "found_plug_off_by" and len(odd) > 1:
        told.append(line("hurt_together"))
    told.append(line(best))
    told += _beside(opinion, best, papers)
    if not odd and opinion.stories[0].kind not in BOARD_READS_WELL:
        told.append(line("nothing_odd"))
    told.append(line("held_for", tens=tens(min(1.0, odds[best]))))
    return tuple(told)


def _sentence_of(kind: str, subject: str, papers: Papers) -> str:
    part = papers.part(subject)
    if kind == "series_open" and part is not None and part.kind == "fuse":
        return "found_fuse_open"
    return f"found_{kind}"


def _beside(opinion: Opinion, best: str, papers: Papers) -> list[PaperLine]:
    """The second, independent fault of the leading account, once it is likelier than not."""
    leading = opinion.stories[0]
    if leading.second is None or leading.second_odds < BESIDE_ODDS:
        return []
    kind, _, subject = leading.second.partition(" ")
    if kind == "elsewhere":
        return [line("beside_module")]
    code = _sentence_of(kind, subject, papers)
    if code == best or code not in SENTENCES or kind in OWN_MEASURING:
        return []
    words = SENTENCES[code]
    return [line("beside", what=words[0].lower() + words[1:])]


def _numbers_are(numbers: tuple[PageNumber, ...], question: PapersQuestion) -> PaperLine | None:
    if not numbers:
        return None
    return line("numbers_are", meters=_meters(question), last=numbers[-1].mark)


def _meters(question: PapersQuestion) -> tuple[str, ...]:
    return tuple(cut(name, NAME_ON_PAGE) for name in meter_names(question)[:NAMES_ON_PAGE])


def _after_work(papers: Papers) -> tuple[PaperLine, ...]:
    proof = papers.proof
    if proof is None:
        return ()
    again = [one for one in proof.contacts if one.after is not None]
    good = [one for one in again if one.after is not None and one.after.verdict in ("expected", "unseen")]
    told = []
    if again and len(good) == len(again):
        told.append(line("after_all", n=str(len(again))))
    elif again:
        told.append(line("after_some", n=str(len(again)), good=str(len(good))))
    if proof.not_read_again:
        told.append(line("after_not_again", n=str(len(proof.not_read_again))))
    return tuple(told)


def _done(question: PapersQuestion) -> tuple[PaperLine, ...]:
    """What was done, as the closing that stands says it."""
    closing = standing_closing(question.closings)
    did = closing.did if closing is not None else ()
    return (line("done", what=tuple(words for each, words in DID_WORDS.items() if each in did)),) if did else ()


def _cost(question: PapersQuestion) -> tuple[PaperLine, ...]:
    currency = question.shop.currency if question.shop is not None else ""
    closing = standing_closing(question.closings)
    told = []
    if closing is not None and closing.whole_cost is not None:
        told.append(line("whole_cost", cost=money(closing.whole_cost, currency)))
    if question.job.limit_cost is not None:
        told.append(line("ceiling", cost=money(question.job.limit_cost, currency)))
    if question.job.limit_work_min is not None:
        told.append(line("ceiling_time", minutes=f"{question.job.limit_work_min:.0f}"))
    return tuple(told) or (line("no_price"),)


def _not_looked_at(papers: Papers) -> tuple[PaperLine, ...]:
    opinion, sheet = papers.opinion, papers.question.sheet
    told = []
    if opinion is not None and sheet is not None:
        unread = [one for one in opinion.contacts if one.verdict == "unread"]
        unseen = [one for one in opinion.contacts if one.verdict == "unseen"]
        if unread:
            told.append(line("not_contacts", n=str(len(unread)), all=str(len(opinion.contacts))))
        if unseen:
            told.append(line("not_seen", n=str(len(unseen))))
        read = {one.socket for one in papers.readings}
        others = [one for one in sheet.board.sockets if one.ref not in read and one.ref != sheet.socket]
        names = tuple(cut(one.name or one.ref, NAME_ON_PAGE) for one in others)
        if len(names) > NAMES_ON_PAGE:
            more = str(len(names) - NAMES_ON_PAGE)
            told.append(line("not_sockets_more", names=names[:NAMES_ON_PAGE], n=more))
        elif names:
            told.append(line("not_sockets", names=names))
    return (*told, line("not_anything_else"))


def _files(question: PapersQuestion) -> tuple[PaperLine, ...]:
    """Whether files were opened, only where the record says it; who opened some has opened some."""
    told = {one.files for one in question.custody if one.event == "returned"}
    copied = any(one.of == "data_copy" and one.event == "copied" for one in question.custody)
    if "opened_as_agreed" in told:
        return (line("files_as_agreed"),)
    return (line("files_not_opened"),) if "not_opened" in told and not copied else ()


def _returned(question: PapersQuestion) -> tuple[PaperLine, ...]:
    told: list[PaperLine] = []
    for one in custody_in_order(question.custody):
        if one.event == "returned":
            note = cut(one.note, NAME_ON_PAGE) if not holds_pass_code(one.note) else ""
            words = _RETURNED[one.of]
            said = line("returned_what_note", what=words, note=note) if note else line("returned_what", what=words)
            told = [*(each for each in told if each != said), said]
    return tuple(told[-RETURNED_ON_PAGE:])


def _made_by(question: PapersQuestion) -> PaperLine:
    name, meters = cut(question.made_by, NAME_ON_PAGE), _meters(question)
    if meters:
        return line("measured_by", name=name, meters=meters) if name else line("measured_by_nobody", meters=meters)
    return line("made_by", name=name) if name else line("made_by_nobody")


def _received(papers: Papers) -> PageSignature | None:
    signed = newest_consents(papers.question.consents).get("handed_back")
    if signed is None or not signed.given:
        return None
    name, when = cut(signed.signed_name, NAME_ON_PAGE), papers.when(signed.given_at_ms)
    words = line("received", name=name, when=when) if name else line("received_nameless", when=when)
    return PageSignature(signed=words, strokes=signed.strokes)
