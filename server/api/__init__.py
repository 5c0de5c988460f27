"""The routes: thin. They read a body, call, and answer.

Read in this order: `edge` (bodies in, errors out), then one module for each group of routes, then
`description` (the OpenAPI document) and `app_files` (the built app).
"""
