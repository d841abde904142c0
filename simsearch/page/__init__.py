"""The page: a thin face over the same functions the commands use.

Nothing heavy is imported here. ``simsearch.page.start.start_page`` starts the server;
``simsearch.page.cautions`` and ``simsearch.page.words`` are plain text and are shared with
the commands.
"""
