"""Taking changes from devices and handing them out.

Read in this order: `accept` (may this change be taken, and what does it say), `apply` (what it does
to the record), `exchange` (a batch in, a page out), `catch_up` (changes that waited for this server
to be updated). All statements are `server.store`'s.

A change is never lost: it is stored, or it is refused with a problem that the device keeps and shows.
"""
