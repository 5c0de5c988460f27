"""The record for others: copied into a shop's own PostgreSQL, or written as lines of JSON.

Read in this order: `rows` (a record as a row of plain values), `opinions` (what the engine says of a job, as
rows), `push` (the copying, and why it may stop anywhere), `export`. Statements are `server.store`'s
(`shop_views` for the record, `shop_database` and `shop_steps/` for PostgreSQL).
"""
