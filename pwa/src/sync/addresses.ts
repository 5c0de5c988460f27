/**
 * Where the shop is. A browser knows an app by its address; when the shop's PC has another one, this app goes on at
 * the old one, and nothing answers there. Decides: that it then tries the other addresses the shop once told of (names
 * that stay with the machine, other addresses of it), over HTTPS only, where nobody else can answer in the shop's
 * name; and that its own address counts again as soon as it answers.
 */
import type { PhoneDb } from "../store/db";
import * as server from "./server";

const LOOK_HOME_EVERY_MS = 600_000;

export class ShopAddresses {
  #lookedHomeAt_ms = 0;
  #isNoted = false;

  constructor(private readonly db: PhoneDb) {}

  /** Before a round that goes elsewhere: now and then, whether the app's own address answers again. */
  async lookHome(): Promise<void> {
    if (server.askedAt() === "" || Date.now() - this.#lookedHomeAt_ms < LOOK_HOME_EVERY_MS) return;
    this.#lookedHomeAt_ms = Date.now();
    if (await server.answersAt("")) this.#goTo("");
  }

  /** After a round that nobody answered: whether the shop was found at another address, where the next one goes. */
  async findElsewhere(): Promise<boolean> {
    if (server.askedAt() !== "") {
      this.#goTo("");
      return false;
    }
    this.#lookedHomeAt_ms = Date.now();
    const others = (await this.db.metaOf("shop_addresses")) ?? [];
    const found = await Promise.all(others.map(server.answersAt));
    const [first] = others.filter((_, at) => found[at]);
    if (first === undefined) return false;
    this.#goTo(first);
    return true;
  }

  /** After a round that was answered: where the shop is reached, for the day when this is not so here. */
  async note(): Promise<void> {
    if (location.protocol !== "https:" || this.#isNoted) return;
    const { addresses, elsewhere = [] } = await server.me();
    const [now] = addresses;
    const hasMoved = server.askedAt() !== "" && now !== undefined && now !== location.origin;
    await this.db.transaction("rw", this.db.meta, async () => {
      await this.db.setMeta("shop_addresses", elsewhere.filter((each) => each !== location.origin));
      await this.db.setMeta("shop_moved_to", hasMoved ? now : null);
    });
    this.#isNoted = true;
  }

  #goTo(address: string): void {
    server.askAt(address);
    this.#isNoted = false;
  }
}
