"""The bench's tables as text."""

from typing import Any

from tests.support.bench import rules
from tests.support.bench import tables as t
from tests.support.bench.bars import Figures, bar_table, contact_figures, figures, of_setting
from tests.support.bench.contact_scores import BINS, FALSE_ALARMS, OWN_RATES, TWICE, by_current, by_false_alarms, table
from tests.support.bench.further_scores import way_table
from tests.support.bench.meter_scores import meter_table
from tests.support.bench.story_scores import AGAIN, TAUGHT, bridges, by_kind, paired, summary, surely_otherwise
from tests.support.bench.walk_scores import NEAR_IDEAL, ORDERS, near_ideal, over_sweep, ratios, shift, until_settled
from tests.support.bench.words_scores import words_table

Row = dict[str, Any]
Rows = dict[str, list[Row]]
SHARP = ("ideal", OWN_RATES, "engine")
JUDGES = (*SHARP, *rules.NAMES)
HARD = ("odd", "heavy", "crowd")


def report(rows: Rows, baseline: Figures) -> str:
    """All tables, one under the other; the bars first, beside the figures of the first form where they are known."""
    on_own_rates = contact_figures(rows["contacts"], OWN_RATES)
    bars = bar_table(figures(rows, "engine"), figures(rows, "ideal"), on_own_rates, baseline)
    parts = _contacts(rows["contacts"])
    if rows.get("further"):
        parts.append(way_table(rows["further"]))
    if rows.get("words"):
        parts.append(words_table(rows["words"]))
    if rows.get("meters"):
        parts.append(meter_table(rows["meters"]))
    parts += [*_stories(rows["stories"]), _shifts(rows["shifts"])]
    if rows["walks"]:
        damage = [row for row in rows["walks"] if row["damage"]]
        moved = [row for row in damage if row["moved"]]
        parts += [_walks("all", rows["walks"]), _walks("damage", damage)]
        parts.append(_walks("damage, and the full reading leads to another decision than none", moved))
    return "\n\n".join(part for part in [bars, *parts] if part)


def settings() -> list[tuple[str, int, bool]]:
    """Weather, reference boards, whether sheets are known: what each table is of."""
    told = [("plain", boards, True) for boards in (t.REFERENCE_BOARDS, *t.VARIANT_BOARDS)]
    return [*told, ("plain", t.REFERENCE_BOARDS, False), *((hard, t.REFERENCE_BOARDS, True) for hard in HARD)]


def name_of(setting: tuple[str, int, bool]) -> str:
    weather, boards, sheet = setting
    return f"{weather}, {boards} reference boards, {'sheets known' if sheet else 'no meter has a sheet'}"


def _contacts(rows: list[Row]) -> list[str]:
    told = [_contact_table(name_of(setting), of) for setting in settings() if (of := of_setting(rows, setting))]
    told.append(_current_table(of_setting(rows, settings()[0])))
    for setting in (settings()[0], ("heavy", t.REFERENCE_BOARDS, True)):
        if of := of_setting(rows, setting):
            told.append(_alarm_table(name_of(setting), of))
    return told


def _contact_table(title: str, rows: list[Row]) -> str:
    lines = table(rows, JUDGES)
    if not lines:
        return ""
    names = [name for name, _ in BINS] + list(TWICE)
    jobs = len({row["job"] for row in rows})
    head = (
        f"CONTACTS {title}: {jobs} jobs, {lines[0]['healthy']} healthy contacts\n"
        "false alarms in % at the judge's own threshold (one touch, two touches); "
        "missed in % with 0.2 % false alarms, by fault (ohm, mV)"
    )
    width = 11
    short = [name.replace("leak ", "").replace(", 2 touches", "*") for name in names]
    body = [f"{'judge':17}{'FA 1':>7}{'FA 2':>7}" + "".join(f"{name:>{width}}" for name in short)]

    def cells(line: dict[str, Any]) -> str:
        missed = "".join(f"{100 * line['missed'][name]:{width}.1f}" for name in names)
        return f"{line['judge']:17}{100 * line['fa_one_touch']:7.2f}{100 * line['fa_two_touches']:7.2f}{missed}"

    body += [cells(line) for line in lines]
    body.append(f"{'n':31}" + "".join(f"{lines[0]['n'][name]:{width}}" for name in names))
    body.append("of signals alone, rails left out:")
    body += [cells(line) for line in table([row for row in rows if not row["rail"]], SHARP)]
    body.append("* at the judge's own threshold, after the second touch of what it doubted or what showed OL")
    return "\n".join([head, *body])


def _current_table(rows: list[Row]) -> str:
    told = by_current(rows, JUDGES, t.NOMINAL_CURRENTS_MA)
    head = "LEAKS < 5k missed in % with 0.2 % false alarms, by the meter's current in mA (in brackets: how many)"
    body = []
    for judge, found in told.items():
        cells = [f"{ma:g}: {100 * found[f'{ma:g}']:5.1f} ({found[f'{ma:g} n']})" for ma in t.NOMINAL_CURRENTS_MA]
        body.append(f"{judge:14}{'   '.join(cells)}")
    return "\n".join([head, *body])


def _alarm_table(title: str, rows: list[Row]) -> str:
    head = f"LEAKS < 5k missed in % by false alarms in %, {title}"
    body = [f"{'':14}" + "".join(f"{100 * share:8.1f}" for share in FALSE_ALARMS)]
    for judge, missed in by_false_alarms(rows, JUDGES).items():
        body.append(f"{judge:14}" + "".join(f"{100 * share:8.1f}" for share in missed))
    return "\n".join([head, *body])


def _stories(rows: list[Row]) -> list[str]:
    told = []
    for setting in settings():
        of = of_setting(rows, setting)
        if of:
            told.append(_story_table(name_of(setting), of))
            damaged = [row for row in of if row["damage"]]
            told.append(_story_table(f"{name_of(setting)}, something damaged", damaged) if damaged else "")
            after = f"{name_of(setting)}, something damaged, after the touches asked for again"
            told.append(_story_table(after, damaged, AGAIN) if damaged and f"engine{AGAIN}" in damaged[0] else "")
    plain = of_setting(rows, settings()[0])
    if plain:
        told += [_kinds(plain), _otherwise(plain), _bridges(plain)]
    return told


def _story_table(title: str, rows: list[Row], when: str = "") -> str:
    head = f"STORIES {title}: {len(rows)} jobs"
    body = [
        f"{'judge':13}{'log nat':>8}{'+-':>6}{'Brier':>7}{'top-1':>7}{'top-3':>7}{'90 % set':>9}{'size':>6}"
        f"{'ECE':>7}{'floor':>7}{'> .9':>7}{'right':>7}"
    ]
    taught = [TAUGHT] if not when and TAUGHT in rows[0] else []
    for judge in ("prior", "ideal", "ideal_tables", "engine", *taught):
        of = summary(rows, judge if judge == "prior" else f"{judge}{when}")
        body.append(
            f"{judge:13}{of['log']:8.3f}{of['log_se']:6.3f}{of['brier']:7.3f}{of['top1']:7.3f}{of['top3']:7.3f}"
            f"{of['covered']:9.3f}{of['set']:6.1f}{of['ece']:7.3f}{of['ece_floor']:7.3f}{of['sure_share']:7.3f}"
            f"{of['sure_right']:7.3f}"
        )
    apart, error = paired(rows, f"engine{when}", f"ideal{when}")
    price, price_error = paired(rows, f"engine{when}", f"ideal_tables{when}")
    foot = (
        f"engine over ideal, the same jobs: {apart:+.3f} +- {error:.3f} nat; "
        f"over ideal inference on the engine's own tables: {price:+.3f} +- {price_error:.3f} nat"
    )
    return "\n".join([head, *body, foot])


def _kinds(rows: list[Row]) -> str:
    ideal, engine = by_kind(rows, "ideal"), by_kind(rows, "engine")
    body = [f"{'story':12}{'n':>6}{'ideal top-1':>13}{'engine':>8}{'ideal nat':>11}{'engine':>8}"]
    for kind, (count, top, log) in ideal.items():
        body.append(f"{kind:12}{count:6}{top:13.2f}{engine[kind][1]:8.2f}{log:11.2f}{engine[kind][2]:8.2f}")
    return "\n".join(["STORIES by what happened", *body])


def _otherwise(rows: list[Row]) -> str:
    body = []
    for words, when in (("at one touch", ""), ("after the touches asked for again", AGAIN)):
        if f"hurt as told{when}" in rows[0]:
            sure, otherwise, hurt = surely_otherwise(rows, when)
            body.append(
                f"{words}: {sure} told above .9, {otherwise} of them not what happened; "
                f"of these the rail, line or chip named is hurt all the same in {hurt}"
            )
    return "\n".join(["STORIES told surely, the engine", *body]) if body else ""


def _bridges(rows: list[Row]) -> str:
    lines = [f"{name}: {100 * share:.1f} % of {count}" for name, (count, share) in bridges(rows).items()]
    return "\n".join(["BRIDGES between two contacts, the engine", *lines])


def _shifts(rows: list[Row]) -> str:
    body = [f"{'':44}{'engine: mean':>14}{'tilt':>7}{'scatter':>9}{'ideal: mean':>14}{'tilt':>7}{'scatter':>9}"]
    for setting in settings():
        of = of_setting(rows, setting) if setting[2] else []
        if of:
            cells = ""
            for judge in ("engine", "ideal"):
                found = shift(of, judge)
                cells += f"{found['mean']:14.2f}{found['tilt']:7.2f}{found['scatter']:9.2f}"
            body.append(f"{name_of(setting):44}{cells}")
    return "\n".join(["COMMON SHIFT root mean square over jobs: mean error mV, tilt mV per 100 mV, scatter mV", *body])


def _walks(title: str, rows: list[Row]) -> str:
    if not rows:
        return ""
    told = until_settled(rows)
    body = [
        f"{'order':8}{'median':>8}{'mean':>8}{'median s':>10}{'mean s':>8}{'stops at':>10}{'after s':>9}{'agrees':>8}"
        f"{'settled':>9}{'end agrees':>12}"
    ]
    for order in ORDERS:
        one = told[order]
        body.append(
            f"{order:8}{one['touches_median']:8.1f}{one['touches_mean']:8.1f}{one['seconds_median']:10.0f}"
            f"{one['seconds_mean']:8.0f}{one['stop_touches_mean']:10.1f}{one['stop_seconds_mean']:9.0f}"
            f"{one['stop_agrees']:8.3f}{one['settled_by_stop']:9.3f}{one['end_agrees']:12.3f}"
        )
    told |= near_ideal(rows)
    for order in NEAR_IDEAL:
        one = told[order]
        body.append(
            f"{order:19}{one['touches_median']:4.1f}{one['touches_mean']:8.1f}{one['seconds_median']:10.0f}"
            f"{one['seconds_mean']:8.0f}"
        )
    foot = [f"guided over sweep: {_ratios(ratios(rows))}"]
    guided, sweep = NEAR_IDEAL
    foot.append(f"near-ideal, guided over sweep (what choosing brings): {_ratios(over_sweep(told, guided, sweep))}")
    for order in (sweep, guided):
        foot.append(f"{order}, over the engine's sweep: {_ratios(over_sweep(told, order))}")
    head = (
        f"TOUCHES until the decision stays the same, {title}: {len(rows)} jobs\n"
        "agrees: the decision where it stops is the whole sweep's; settled: it changes no more after that; "
        "end agrees: with all read and confirmed it is the sweep's\n"
        "near-ideal: the judge that knows its own last word and stops where it first says so, on the same touches"
    )
    return "\n".join([head, *body, *foot])


def _ratios(told: dict[str, float]) -> str:
    return ", ".join(f"{name} {value:.2f}" for name, value in told.items())
