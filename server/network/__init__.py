"""The shop's own network: this machine's addresses, the certificates phones trust, the servers that listen.

Read in this order: `addresses`, `authority` (made once, trusted by phones) with `leaf` (renewed by itself),
`plan` (what `secondprobe serve` was told), `serving` (what listens, what is followed while it runs), `welcome`
(the plain page that gets a phone in). Who may ask for what is `server.access`'s.
"""
