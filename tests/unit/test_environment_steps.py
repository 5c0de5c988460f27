"""A step runs when it has to and only then; nobody waits in silence; two starts do not meet."""

import threading
from pathlib import Path

import pytest

from demo.steps import Step, StepFailed, content_hash, one_at_a_time, run_logged, run_step, ticking, why_stale


class Bench:
    """A step that copies one file to another, counting how often it ran."""

    def __init__(self, folder: Path) -> None:
        self.given, self.made, self.stamps = folder / "given", folder / "made.txt", folder / "stamps"
        self.given.mkdir()
        (self.given / "a.txt").write_text("one")
        self.runs = 0
        self.said: list[str] = []

    def step(self, salt: tuple[str, ...] = ()) -> Step:
        return Step(name="copy", title="Copying", do=self.copy, inputs=[self.given], outputs=[self.made], salt=salt)

    def copy(self) -> None:
        self.runs += 1
        self.made.write_text((self.given / "a.txt").read_text())

    def run(self, salt: tuple[str, ...] = ()) -> bool:
        return run_step(self.step(salt), self.stamps, self.said.append)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_unchanged_input_does_not_run_the_step_again(bench: Bench) -> None:
    assert bench.run()
    assert not bench.run()
    assert bench.runs == 1
    assert len(bench.said) == 1, "a step that is skipped says nothing"


def test_changed_input_runs_the_step_again(bench: Bench) -> None:
    bench.run()
    (bench.given / "a.txt").write_text("two")
    assert bench.run()
    assert bench.made.read_text() == "two"
    assert "has changed" in bench.said[-1]


@pytest.mark.parametrize("change", ["add", "remove", "rename"])
def test_another_set_of_files_runs_the_step_again(bench: Bench, change: str) -> None:
    (bench.given / "b.txt").write_text("b")
    bench.run()
    if change == "add":
        (bench.given / "c.txt").write_text("")
    elif change == "remove":
        (bench.given / "b.txt").unlink()
    else:
        (bench.given / "b.txt").rename(bench.given / "c.txt")
    assert bench.run()


def test_a_file_touched_but_not_changed_does_not_run_the_step(bench: Bench) -> None:
    bench.run()
    (bench.given / "a.txt").write_text("one")
    assert not bench.run()


def test_another_salt_runs_the_step_again(bench: Bench) -> None:
    bench.run(("3.11",))
    assert bench.run(("3.12",))


def test_missing_output_counts_as_stale(bench: Bench) -> None:
    bench.run()
    bench.made.unlink()
    assert why_stale(bench.step(), bench.stamps) == "made.txt is missing"
    assert bench.run()
    assert bench.made.exists()


def test_a_step_that_broke_off_runs_again(bench: Bench) -> None:
    bench.run()
    (bench.given / "a.txt").write_text("two")

    def break_off() -> None:
        bench.made.write_text("half")
        raise RuntimeError("the power went")

    broken = Step(name="copy", title="Copying", do=break_off, inputs=[bench.given], outputs=[bench.made])
    with pytest.raises(RuntimeError, match="the power went"):
        run_step(broken, bench.stamps, bench.said.append)
    assert why_stale(bench.step(), bench.stamps) == "not done yet"
    assert bench.run()
    assert bench.made.read_text() == "two"


def test_going_back_to_an_earlier_input_after_a_break_still_runs(bench: Bench) -> None:
    bench.run()
    (bench.given / "a.txt").write_text("two")
    broken = Step(name="copy", title="Copying", do=lambda: 1 / 0, inputs=[bench.given], outputs=[bench.made])  # type: ignore[arg-type]
    with pytest.raises(ZeroDivisionError):
        run_step(broken, bench.stamps, bench.said.append)
    (bench.given / "a.txt").write_text("one")
    assert bench.run(), "what the broken step left behind is not what the old stamp spoke of"


def test_a_step_without_its_output_is_an_error(bench: Bench) -> None:
    empty = Step(name="copy", title="Copying", do=lambda: None, inputs=[bench.given], outputs=[bench.made])
    with pytest.raises(StepFailed, match=r"made\.txt is not there"):
        run_step(empty, bench.stamps, bench.said.append)
    assert why_stale(empty, bench.stamps) is not None


def test_an_input_that_changes_while_the_step_runs_makes_it_stale(bench: Bench) -> None:
    def copy_then_edit() -> None:
        bench.copy()
        (bench.given / "a.txt").write_text("edited meanwhile")

    step = Step(name="copy", title="Copying", do=copy_then_edit, inputs=[bench.given], outputs=[bench.made])
    run_step(step, bench.stamps, bench.said.append)
    assert why_stale(bench.step(), bench.stamps) == "what it rests on has changed"


def test_bytecode_is_no_input(bench: Bench) -> None:
    before = content_hash([bench.given], ignore=["__pycache__"])
    (bench.given / "__pycache__").mkdir()
    (bench.given / "__pycache__" / "a.pyc").write_text("x")
    assert content_hash([bench.given], ignore=["__pycache__"]) == before
    assert content_hash([bench.given]) != before


def test_a_long_step_says_that_it_is_alive() -> None:
    heard = threading.Event()
    said: list[str] = []

    def say(text: str) -> None:
        said.append(text)
        heard.set()

    with ticking("Long work", say, every_s=0.01):
        assert heard.wait(30)
    assert said[0].startswith("  Long work ... ")


def test_a_second_start_waits_for_the_first(tmp_path: Path) -> None:
    lock, order = tmp_path / "lock", []
    waiting = threading.Event()

    def second() -> None:
        with one_at_a_time(lock, lambda text: waiting.set()):
            order.append("second")

    with one_at_a_time(lock, order.append):
        thread = threading.Thread(target=second)
        thread.start()
        assert waiting.wait(30), "the second start must say that it waits"
        order.append("first")
    thread.join(30)
    assert order == ["first", "second"]


def test_a_failed_command_shows_its_last_lines_and_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(StepFailed) as failure:
        run_logged(["sh", "-c", "echo no such package >&2; exit 3"], tmp_path / "log", hint="Needs a network once.")
    text = str(failure.value)
    assert "ended with 3" in text
    assert "no such package" in text
    assert text.endswith("Needs a network once.")
    assert "no such package" in (tmp_path / "log").read_text()


def test_a_command_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StepFailed, match="cannot start no-such-program-here"):
        run_logged(["no-such-program-here"], tmp_path / "log")
