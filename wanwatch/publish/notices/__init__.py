"""Notices: brings letters to people and machines: by mail, by webhook, over whichever line works.

In:       letters that wait in the outbox, the lines to try, a mail server, what webhooks are signed with.
Out:      what each receiver said, kept with its letter; how many wait; sentences for the log.
Imports:  wanwatch.core, wanwatch.trust, wanwatch.publish, aiosmtplib, aiohttp, asyncio. Never measure, store or report.
"""
