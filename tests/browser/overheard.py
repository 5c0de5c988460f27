"""What goes out of the page: whom it asks over the network, and what it says to its engine."""

import json
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Page

LISTEN_TO_THE_ENGINE = """() => {
  window.overheard = [];
  const post = Worker.prototype.postMessage;
  Worker.prototype.postMessage = function (message, ...more) {
    if (message.is === "ask") {
      const sheet = new TextDecoder().decode(message.sheet);
      const hear = ({ data }) => {
        if (data.is !== "answer" || data.number !== message.number) return;
        this.removeEventListener("message", hear);
        window.overheard.push({ sheet, opinion: new TextDecoder().decode(data.opinion) });
      };
      this.addEventListener("message", hear);
    }
    return post.call(this, message, ...more);
  };
}"""


class Asked:
    """Every address that the pages, workers and service workers of a browser ask for."""

    def __init__(self) -> None:
        self.urls: list[str] = []

    def listen(self, page: Page) -> None:
        """Begins before the page's first address is opened."""
        page.context.on("request", lambda request: self.urls.append(request.url))

    @property
    def origins(self) -> set[str]:
        """Who was asked; what a page makes for itself (blob:, data:) asks nobody."""
        parts = [urlsplit(url) for url in self.urls]
        return {f"{one.scheme}://{one.netloc}" for one in parts if one.scheme not in ("blob", "data")}

    @property
    def paths(self) -> set[str]:
        return {urlsplit(url).path for url in self.urls}


def listen_to_the_engine(page: Page) -> None:
    """From now on every question to the engine is kept with its answer."""
    page.evaluate(LISTEN_TO_THE_ENGINE)


def last_of_the_engine(page: Page) -> tuple[dict[str, Any], dict[str, Any]]:
    """The last sheet that the engine answered, and its opinion."""
    heard = page.evaluate("() => window.overheard.at(-1) ?? null")
    assert heard is not None, "the engine has not answered anything since it was listened to"
    return json.loads(heard["sheet"]), json.loads(heard["opinion"])
