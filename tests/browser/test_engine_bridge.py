"""One question in hand, one waiting, the newest wins; a worker that dies or hangs is a state, not a silence.

With a stand-in for the worker that answers when the test says so; the files are the real ones.
"""

import json
from typing import Any

import pytest
from playwright.sync_api import Page

STAND_IN = """
(() => {
  window.workers = [];
  window.makeWorker = () => {
    const worker = {
      said: [], terminated: false,
      postMessage(message) { this.said.push(message); },
      terminate() { this.terminated = true; },
      hear(data) { this.onmessage({ data }); },
    };
    workers.push(worker);
    return worker;
  };
  window.bridge = new inside.EngineBridge(inside.engineManifest, makeWorker);
  window.answers = {};
  window.ask = (name) => {
    const sheet = new TextEncoder().encode(name);
    void bridge.ask(sheet).then((answer) => (answers[name] = answer.is === "formed" ? answer.opinion : answer.is));
  };
  const words = (sheet) => new TextDecoder().decode(sheet);
  const questions = () => workers.at(-1).said.filter(({ is }) => is === "ask");
  window.asked = () => questions().map(({ number, sheet }) => [number, words(sheet)]);
  window.settled = () => new Promise((resolve) => setTimeout(() => resolve(structuredClone(answers))));
  window.started = () => inside.once(bridge.state, ({ is }) => is === "starting");
})()
"""


@pytest.fixture
def stand_in(inside_page: Page) -> Page:
    """The page with `bridge` before a stand-in worker."""
    inside_page.evaluate(STAND_IN)
    return inside_page


def state(page: Page) -> dict[str, Any]:
    return page.evaluate("() => inside.once(bridge.state)")


def test_the_newest_question_overtakes_the_one_that_waits(stand_in: Page) -> None:
    stand_in.evaluate("async () => { ask('first'); await started(); workers[0].hear({ is: 'ready' }); }")
    stand_in.evaluate("() => { ask('second'); ask('third'); ask('fourth'); }")
    assert stand_in.evaluate("() => asked()") == [[1, "first"]]
    assert stand_in.evaluate("() => settled()") == {"second": "overtaken", "third": "overtaken"}
    stand_in.evaluate("() => workers[0].hear({ is: 'answer', number: 1, opinion: 'A' })")
    assert stand_in.evaluate("() => asked()") == [[1, "first"], [4, "fourth"]]
    stand_in.evaluate("() => workers[0].hear({ is: 'answer', number: 4, opinion: 'D' })")
    assert stand_in.evaluate("() => settled()") == {
        "first": "A", "second": "overtaken", "third": "overtaken", "fourth": "D",
    }


def test_a_question_the_engine_cannot_answer_does_not_stop_the_next(stand_in: Page) -> None:
    stand_in.evaluate("async () => { ask('bad'); await started(); workers[0].hear({ is: 'ready' }); ask('good'); }")
    stand_in.evaluate("() => workers[0].hear({ is: 'failed', number: 1, why: 'no such contact' })")
    stand_in.evaluate("() => workers[0].hear({ is: 'answer', number: 2, opinion: 'B' })")
    assert stand_in.evaluate("() => settled()") == {"bad": "failed", "good": "B"}
    assert state(stand_in)["is"] == "ready"


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ("workers[0].hear({ is: 'failed', number: null, why: 'no module' })", "The engine did not start: no module"),
        ("workers[0].onerror({ message: 'out of memory' })", "The engine stopped: out of memory"),
    ],
)
def test_a_failed_start_is_shown_told_to_who_asked_and_tried_again(stand_in: Page, event: str, words: str) -> None:
    stand_in.clock.install()
    stand_in.evaluate(f"async () => {{ ask('first'); await started(); {event}; }}")
    failed = state(stand_in)
    assert (failed["is"], failed["why"]) == ("failed", words)
    assert failed["retry_at_ms"] > 0
    assert stand_in.evaluate("() => answers") == {"first": "failed"}
    assert stand_in.evaluate("() => workers[0].terminated")
    stand_in.clock.run_for(6_000)
    stand_in.evaluate("async () => { await started(); workers[1].hear({ is: 'ready' }); }")
    assert state(stand_in)["is"] == "ready"


def test_a_question_after_a_failure_gets_the_reason_and_no_new_start(stand_in: Page) -> None:
    stand_in.evaluate("async () => { bridge.start(); await started(); workers[0].onerror({ message: 'boom' }); }")
    answer = stand_in.evaluate("() => bridge.ask(new Uint8Array())")
    assert answer == {"is": "failed", "why": "The engine stopped: boom"}
    assert stand_in.evaluate("() => workers.length") == 1


def test_an_engine_that_hangs_is_ended_and_started_again(stand_in: Page) -> None:
    stand_in.clock.install()
    stand_in.evaluate("async () => { ask('first'); await started(); workers[0].hear({ is: 'ready' }); }")
    stand_in.clock.run_for(61_000)
    assert stand_in.evaluate("() => workers[0].terminated")
    assert stand_in.evaluate("() => answers") == {"first": "failed"}
    assert state(stand_in)["why"] == "The engine gave no answer within a minute."


def test_a_hidden_page_frees_the_engine_and_a_seen_one_brings_it_back(stand_in: Page) -> None:
    stand_in.clock.install()
    stand_in.evaluate(
        """async () => {
          window.page = Object.assign(new EventTarget(), { visibilityState: "visible" });
          window.turn = (state) => { page.visibilityState = state; page.dispatchEvent(new Event("visibilitychange")); };
          bridge.watchVisibility(page);
          bridge.start();
          await started();
          workers[0].hear({ is: "ready" });
          turn("hidden");
        }"""
    )
    stand_in.clock.run_for(4 * 60_000)
    assert state(stand_in)["is"] == "ready", "a short look elsewhere costs nothing"
    stand_in.clock.run_for(2 * 60_000)
    assert state(stand_in)["is"] == "absent"
    assert stand_in.evaluate("() => workers[0].terminated")
    stand_in.evaluate("async () => { turn('visible'); await started(); }")
    assert stand_in.evaluate("() => workers.length") == 2


def test_progress_is_told_in_bytes_of_bytes(inside_page: Page) -> None:
    seen = inside_page.evaluate(
        """async () => {
          const seen = [];
          const stop = inside.door.engine.subscribe(({ is, bytes, of_bytes }) => {
            if (is === "loading") seen.push([bytes, of_bytes]);
          });
          inside.door.startEngine();
          await inside.once(inside.door.engine, ({ is }) => is === "starting");
          stop();
          return seen;
        }"""
    )
    total = json.loads(inside_page.evaluate("() => JSON.stringify(inside.engineManifest)"))["total_bytes"]
    assert len(seen) > 10, "the large file comes in parts"
    assert [bytes_ for bytes_, _ in seen] == sorted(bytes_ for bytes_, _ in seen)
    assert seen[-1] == [total, total]
