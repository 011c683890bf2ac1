"""Script, formulas and header lines in every text field of every form: they stay words wherever they come out again."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser

import pytest

from tests.conftest import somebody
from tests.page import Page

PAYLOADS = {
    "script": '"><script>alert(1)</script><img src=x onerror=alert(1)>{{7*7}}',
    "formula": '=HYPERLINK("http://x.example","x")',
    "header": "a\r\nSet-Cookie: lychgate=x\r\n\r\n<b>",
    "bidi": "\u202egnp.exe\u0000\x1b[31m",
}
FIELDS_OF_A_FORM = {"script": 6, "formula": 2, "header": 2, "bidi": 1}  # a day has some fields once for each place
TYPED = frozenset({"text", "textarea", "search"})
GOES = frozenset({"/leave"})  # whoever sends it is out
SKIPPED = re.compile(r"/(removal|deletion|end)$")  # what takes things away is sent last, or there would be nothing left


def pages_of(site):
    """Every address that links lead to from the first page, with its answer."""
    waiting, seen = ["/"], set()
    while waiting:
        path = waiting.pop()
        if path in seen or not path.startswith("/") or path.startswith("/static"):
            continue
        seen.add(path)
        answer = site.client.get(path)
        assert answer.status_code < 500, path
        yield path, answer
        if answer.headers["content-type"].startswith("text/html"):
            waiting += [link.partition("#")[0] for link in Page(answer.text).links]


def forms_of(site):
    """Every form there is, each address once."""
    found = {}
    for _, answer in pages_of(site):
        if answer.headers["content-type"].startswith("text/html"):
            for form in Page(answer.text).forms:
                if form.to and form.to not in GOES and not SKIPPED.search(form.to):
                    found.setdefault(form.to, form)
    return found


class Dangers(HTMLParser):
    """What of a page could run, or lead away, that our own templates have not put there."""

    def __init__(self, source):
        super().__init__()
        self.found = []
        self.feed(source)
        self.close()

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        if tag in ("img", "iframe", "object", "embed", "base") or (
            tag == "script" and not str(said.get("src", "")).startswith("/static/")
        ):
            self.found.append(tag)
        self.found += [name for name in said if name.startswith("on") or name == "style"]
        self.found += [value for name, value in attrs if name in ("href", "src", "action") and ":" in (value or "")[:12]
                       and not str(value).startswith(("http://localhost", "geo:"))]  # fmt: skip


def is_harmless(answer, payload):
    """Whether an answer holds the payload as words alone, if at all."""
    kind = answer.headers.get("content-type", "").partition(";")[0]
    if kind == "text/html":
        assert not Dangers(answer.text).found
        assert "alert(1)&gt;49" not in answer.text
        if "{{7*7}}" in payload and "{{" in answer.text:
            assert "{{7*7}}" in answer.text
    elif kind == "text/csv":
        for row in csv.reader(io.StringIO(answer.text)):
            assert not any(cell[:1] in ("=", "@", "\t", "\x00") for cell in row), row
    elif kind == "text/calendar":
        assert not re.search(r"^Set-Cookie", answer.text, re.MULTILINE)
    assert "lychgate=x" not in answer.headers.get("set-cookie", "")
    assert not re.search(r"[\r\n]", "".join(answer.headers.values()))


@pytest.mark.in_a_file  # how words are drawn is no database\'s business
@pytest.mark.parametrize("which", PAYLOADS)
def test_what_is_typed_stays_words(demo, which):
    """Each field by itself, so that the rest of its form is right and it is kept where anything of the kind can be."""
    payload = PAYLOADS[which]
    lead = somebody(demo, "lead", "Ines")
    forms = forms_of(lead)
    assert len(forms) > 50
    tried = 0
    for to, form in forms.items():
        button = dict(form.buttons[:1])
        names = list(dict.fromkeys(each.name for each in form.fields if each.kind in TYPED))
        for name in names[: FIELDS_OF_A_FORM[which]]:
            answer = lead.client.post(to, data=form.sends(**button, **{name: payload}))
            assert answer.status_code < 500, (to, name)
            is_harmless(answer, payload)
            tried += 1
    assert tried > 50
    for _, answer in pages_of(lead):
        is_harmless(answer, payload)
