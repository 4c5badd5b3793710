"""What people and machines read about a job.

In: the results of the stages: findings, figures, timing, what was read how.
Out: one ``Report``; from it text of 100 columns, a JSON document, a page without network or script, a screenful.
Idea: everything is gathered once, and each form only lays it out; so two forms cannot say different things. What
charts need is gathered while samples stream by, in a size that does not grow with the job.
Rule: a form computes nothing. Whatever a program says is escaped before it is shown.
Start with ``model.py``, then ``collect.py``; the forms are ``text.py``, ``document.py``, ``page.py``, ``terminal.py``.
"""
