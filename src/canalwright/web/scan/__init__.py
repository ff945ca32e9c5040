"""Scans in the page: opened, looked at, canals found and corrected, handed on as a case.

`store` holds what is open, `tasks` what the processes of `web.hands` do for it, `tracing` the steps of one scan with undo,
`uploads` takes in what a browser sends, `telling` puts it all into JSON, `routes` is what the browser asks.
"""
