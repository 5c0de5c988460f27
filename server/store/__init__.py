"""The shop's record in SQLite: the only place in the project that speaks SQL.

Read in this order: `database` (connections, the one writer), `steps` (numbered .sql files),
`change_log` (what devices sent, numbered), `record` (what the log adds up to), `sheet` (the query
that gathers one job for the engine). Decides how things are kept; which changes are taken and what
they mean is `server.sync`'s.
"""
