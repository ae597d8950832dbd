"""The workbench in the browser, and the HTTP interface. `create_app(store)` makes it, `run` serves it."""
