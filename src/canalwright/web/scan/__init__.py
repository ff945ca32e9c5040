"""Scans in the page: opened, looked at, canals found and corrected, handed on as a case.

`store` holds what is open, `hands` are the processes that read and trace, `tasks` what they do, `tracing` the steps of one scan with undo,
`uploads` takes in what a browser sends, `telling` puts it all into JSON, `routes` is what the browser asks.
"""
