"""The frame of every HTML page: one look, one way to escape, one policy of what a page may do.

In: the title, the head and the body of a page, and which of the styles and scripts beside this file it needs.
Out: one HTML document without outside parts.
Idea: styles and scripts are files of their own (``.css``, ``.js``) that go into the page as they are. A page is
complete without its script, which only adds: sorting, filters, the cursor.
Rule: all text from outside goes through ``safe`` of ``html.py``. Only our own scripts run: the page names their hashes.
Start with ``html.py``, then ``look.css``.
"""
