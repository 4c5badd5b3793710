"""One HTML document: escaped text, our styles and scripts in it, and a policy that lets nothing else act."""

import json
import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from hashlib import sha256
from html import escape
from importlib.resources import files

from hexpost.voice import clean

LOOK = "look.css"
"""The style that all pages share."""
_FOLDER = files("hexpost.pages")


def safe(said: str) -> str:
    """Return text from anywhere for HTML, where it is shown and cannot act."""
    return escape(clean(said))


def coded(said: str) -> str:
    """Return text from anywhere for HTML, with what is between backquotes as code."""
    return re.sub("`(.*?)`", r"<code>\1</code>", safe(said))


def cut(name: str, most: int = 48) -> str:
    """Return a long name with its middle left out, for HTML; the whole of it shows under the pointer."""
    if len(name) <= most:
        return safe(name)
    head = (most - 1) // 2
    return f'<span title="{safe(name)}">{safe(name[:head])}…{safe(name[len(name) - (most - 1 - head) :])}</span>'


def fact_list(items: Sequence[tuple[str, str, str]]) -> str:
    """Return the numbers on top of a page: name, number, note, already HTML."""
    told = "".join(f"<div><dt>{n}</dt><dd>{v}{f'<small>{t}</small>' * bool(t)}</dd></div>" for n, v, t in items)
    return f'<dl class="facts">{told}</dl>'


def parts(links: Sequence[tuple[str, str]]) -> str:
    """Return the way to the parts of a page: addresses and names, already HTML."""
    told = "".join(f'<li><a href="#{key}">{name}</a></li>' for key, name in links)
    return f'<nav aria-label="Parts of this page"><ul>{told}</ul></nav>'


def scrolled(inner: str, label: str, kind: str = "scroll") -> str:
    """Return something wide in a frame of its own, which keys can scroll; ``label`` is HTML."""
    return f'<div class="{kind}" tabindex="0" role="region" aria-label="{label}">{inner}</div>'


def data(name: str, values: Mapping[str, object]) -> str:
    """Return what a script reads, as an attribute, so that it is text and nothing else."""
    held = json.dumps(values, separators=(",", ":"), allow_nan=False)
    return f'<div hidden id="{name}" data-held="{escape(held)}"></div>'


def document(title: str, body: str, *, styles: Sequence[str] = (), scripts: Sequence[str] = ()) -> str:
    """Return the document; ``title`` is text, ``body`` HTML, ``styles`` and ``scripts`` files beside this one."""
    style = "".join(_asset(name) for name in (LOOK, *styles))
    codes = [_asset(name) for name in scripts]
    hashes = " ".join(f"'sha256-{b64encode(sha256(code.encode()).digest()).decode()}'" for code in codes)
    policy = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:{f'; script-src {hashes}' * bool(codes)}"
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{safe(title)}</title>'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{style}</style></head>'
        f"<body>{body}{''.join(f'<script>{code}</script>' for code in codes)}</body></html>\n"
    )


def _asset(name: str) -> str:
    return _FOLDER.joinpath(name).read_text("utf-8")
