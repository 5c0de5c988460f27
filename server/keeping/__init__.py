"""Keeping a shop's server: copies of everything and back again, what is wrong with it, how it becomes a service.

`backup` and `restore` work while the server runs; `doctor` only looks; `unit` only prints. Statements are
`server.store.copies`'.
"""
