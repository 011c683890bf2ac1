"""A page as the person at it has it: what it says, and its forms with what is in them and beside each field."""

from __future__ import annotations

import html
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

VOID = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "option", "path", "rect"})


@dataclass
class Field:
    """A field of a form. word: what is written beside it, hint or refusal."""

    name: str
    kind: str
    value: str
    id: str = ""
    ticked: bool = False
    invalid: bool = False
    described_by: str = ""
    options: list[str] = field(default_factory=list)
    word: str = ""


@dataclass
class Form:
    """A form, the fields in their order, and its buttons as (name, value)."""

    to: str
    htmx_to: str
    id: str = ""
    fields: list[Field] = field(default_factory=list)
    buttons: list[tuple[str, str]] = field(default_factory=list)

    def __getitem__(self, name: str) -> Field:
        return next(each for each in self.fields if each.name == name)

    def sends(self, **changes: str | list[str] | None) -> dict[str, str | list[str]]:
        """What a browser would send, with these fields filled in differently; None: without that field."""
        sent: dict[str, list[str]] = {}
        for each in self.fields:
            if each.kind in ("checkbox", "radio") and not each.ticked:
                continue
            sent.setdefault(each.name, []).append(each.value)
        for name, value in changes.items():
            if value is None:
                sent.pop(name, None)
            else:
                sent[name] = value if isinstance(value, list) else [value]
        return {name: values if len(values) != 1 else values[0] for name, values in sent.items()}


class Page(HTMLParser):
    """A page or a fragment, read once."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.source = source
        self.text = ""
        self.alerts: list[str] = []
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.roots: list[str] = []  # ids of the outermost elements
        self._open: list[tuple[str, dict[str, str]]] = []
        self._form: Form | None = None
        self._select: Field | None = None
        self._said: dict[str, str] = {}
        self.feed(source)
        self.close()
        self.text = " ".join(self.text.split())
        self.alerts = [" ".join(each.split()) for each in self.alerts if each.strip()]
        for form in self.forms:
            for each in form.fields:
                each.word = " ".join(self._said.get(each.described_by, "").split())

    def form(self, to: str) -> Form:
        """The first form that goes to this address."""
        found = [form for form in self.forms if form.to == to]
        assert found, f"no form to {to}; there are {sorted({form.to for form in self.forms})}"
        return found[0]

    def forms_to(self, to: str) -> list[Form]:
        return [form for form in self.forms if form.to == to]

    @property
    def refused(self) -> dict[str, str]:
        """The word beside each field that is marked as wrong."""
        return {each.name: each.word for form in self.forms for each in form.fields if each.invalid}

    def rows(self) -> Iterator[str]:
        """The words of each row of the day page, in order."""
        for row in re.findall(r'<li id="at-\d+(?:-here)?".*?</li>', self.source, re.DOTALL):
            yield " ".join(html.unescape(re.sub(r"<[^>]+>", " ", row)).split())

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if not self._open and "id" in has:
            self.roots.append(has["id"])
        if has.get("role") == "alert":
            self.alerts.append("")
        if tag == "a" and "href" in has:
            self.links.append(has["href"])
        if tag == "form":
            self._form = Form(has.get("action", ""), has.get("hx-post", ""), has.get("id", ""))
            self.forms.append(self._form)
        elif has.get("form"):  # a field that stands outside of its form
            inside, self._form = self._form, next(form for form in self.forms if form.id == has["form"])
            self._field(tag, has)
            self._form = inside
        elif self._form is not None:
            self._field(tag, has)
        if tag not in VOID:
            self._open.append((tag, has))

    def _field(self, tag: str, has: dict[str, str]) -> None:
        if tag == "option" and self._select is not None:
            value = has.get("value", "")
            self._select.options.append(value)
            if "selected" in has or len(self._select.options) == 1:
                self._select.value = value
        elif tag == "button" and has.get("name") and "disabled" not in has:
            self._form.buttons.append((has["name"], has.get("value", "")))
        elif tag in ("input", "select", "textarea") and has.get("name", "").partition("-")[0] != "method":
            made = Field(
                has.get("name", ""), has.get("type", tag), has.get("value", ""), has.get("id", ""), "checked" in has,
                has.get("aria-invalid") == "true", has.get("aria-describedby", ""),
            )  # fmt: skip
            self._form.fields.append(made)
            if tag == "select":
                self._select = made

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = None
        if any(each == tag for each, _ in self._open):
            while self._open.pop()[0] != tag:  # closes what was left open inside, as browsers do
                pass

    def handle_data(self, data: str) -> None:
        if any(tag in ("script", "style", "title") for tag, _ in self._open):
            return
        self.text += data + " "
        for _, has in self._open:
            if has.get("role") == "alert":
                self.alerts[-1] += data
            if "id" in has:
                self._said[has["id"]] = self._said.get(has["id"], "") + data
