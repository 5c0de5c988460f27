"use strict";
const button = document.getElementById("test");
const said = document.getElementById("said");
const iphone = document.getElementById("iphone");
const android = document.getElementById("android");
const agent = navigator.userAgent;
function fold(other) {
  other.open = false;
  document.querySelector("." + other.id).hidden = true;
}
if (/Android/.test(agent)) fold(iphone);
if (/iPhone|iPad/.test(agent)) fold(android);

// a certificate is good from a day to a day: a phone whose clock is far off refuses it
const off_days = Math.round((Date.now() - Number(button.dataset.serverMs)) / 86400000);
if (off_days !== 0) {
  const clock = document.getElementById("clock");
  clock.textContent = "This phone's clock is " + Math.abs(off_days) + " days " + (off_days > 0 ? "ahead of" : "behind") +
    " the shop's. Set the one that is wrong first: with a wrong clock the secure address is refused.";
  clock.hidden = false;
}

button.addEventListener("click", async () => {
  button.disabled = true;
  said.textContent = "Asking " + button.dataset.app;
  try {
    // the answer may not be read from here; that there is one says that the certificate is trusted
    await fetch(button.dataset.app + "/api/health", { mode: "no-cors", cache: "no-store", signal: AbortSignal.timeout(8000) });
    said.textContent = "This phone trusts the shop's address. Go on with step 4.";
  } catch (error) {
    said.textContent = error.name === "TimeoutError"
      ? "No answer within eight seconds: is this phone in the shop's own network, and not in one for guests?"
      : "Not yet: this phone does not trust the address. On an iPhone look for the second switch, " +
        "Certificate Trust Settings. On Android the kind must be CA certificate.";
  }
  button.disabled = false;
});
