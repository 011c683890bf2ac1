"""Who may come in, and with what: the visitor's crew, the origin of requests, sizes, headers, calendars."""
