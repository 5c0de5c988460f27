"""Boards from open formats: read, joined into nets, traced from a socket's contacts, proposed as a BoardVersion.

The order to read in: `board_file` (what a reader gives), `find_format`, the readers (`sexpr`, `kicad`, `outline`,
`fitting`; `ipc356`; `ipc2581` with `ipc2581_parts` and `ipc2581_places`; `pin_list`), `nets`, `part_kinds`, `rails`,
`feeds`, `trace`, `roles_proposed`, `rows`, `version`, `door`. Readers take bytes and do no I/O; nothing here is kept
until a person has looked at it.
"""
