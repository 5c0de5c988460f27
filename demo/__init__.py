"""An invented shop to try the app and the engine with; `python3 demo` starts here."""
