/** Starts the app: the inside of the phone, the first screen, then what may wait for the first paint. */
import { mount } from "svelte";

import App from "./App.svelte";
import { openInside } from "./store/open_door";
import "./ui/fonts.css";

const target = document.getElementById("app");
if (target === null) throw new Error("index.html has no element with id app");

const { door, start } = openInside();
mount(App, { target, props: { door } });
void start();
// the timer runs after the frame that shows the first screen: readings never wait for the engine
requestAnimationFrame(() => setTimeout(() => door.startEngine()));
