"""Writes what an audit found as a page for people (HTML, no scripts) and as JSON for programs."""

from __future__ import annotations

import json
from typing import Any

from provenance._catalogue.audit.audit import Audit
from provenance._catalogue.audit.standing import WORDS

MOST_ROWS = 2_000
MOST_FILES = 5
"""The page names so many bundles of one standing, and files of one bundle; JSON names all."""


def audit_json(audit: Audit) -> str:
    """The audit as JSON text: run, counts by standing, and every bundle that is known."""
    document = {
        "place": str(audit.place),
        "run": audit.run_id,
        "startedAt": audit.started_at,
        "endedAt": audit.ended_at,
        "outcome": audit.outcome,
        "clean": audit.clean,
        "examined": audit.examined,
        "examinedBeforeItWasInterrupted": audit.resumed,
        "left": audit.left,
        "bytesExamined": sum(_of_run(audit, "bytes")),
        "clock": audit.update.clock,
        "counts": _counts(audit),
        "copies": sum(bool(one["copies"]) for one in audit.standing),
        "superseded": sum(bool(one["superseded_by"]) for one in audit.standing),
        "notReadable": audit.update.unreadable,
        "bundles": list(audit.standing),
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _of_run(audit: Audit, name: str) -> list[Any]:
    return [one[name] or 0 for one in audit.standing if one["run_id"] == audit.run_id]


def _counts(audit: Audit) -> dict[str, int]:
    found = [one["standing"] for one in audit.standing]
    return {name: found.count(name) for name in WORDS if name in found}


def audit_lines(audit: Audit) -> list[str]:
    """The audit in lines for a terminal or a mail: counts, then everything that is not clean."""
    from provenance._base.visible import visible

    lines = [
        f"{audit.examined} examined, {audit.left} left for the next audit; of "
        f"{len(audit.standing)} known: "
        + ", ".join(f"{count} {WORDS[name].lower()}" for name, count in _counts(audit).items())
    ]
    for one in audit.standing:
        if one["clean"]:
            continue
        since = f" (was sound on {one['sound_at']})" if one["sound_at"] else ""
        lines.append(f"{WORDS[one['standing']]}: {visible(one['path'])}{since}")
        if one["why"]:
            lines.append(f"    {visible(one['why'])}")
        for finding in one["findings"][:MOST_FILES]:
            lines.append(f"    {visible(' '.join([finding['path'], finding['message']]).strip())}")
        if len(one["findings"]) > MOST_FILES:
            lines.append(f"    ... and {len(one['findings']) - MOST_FILES} MORE; --format json")
    known = {one["path"] for one in audit.standing}
    lines += [
        f"Cannot be looked into: {visible(path)}: {visible(why)}"
        for path, why in audit.update.unreadable.items()
        if path not in known
    ]
    for one in audit.standing:
        if one["standing"] == "moved":
            lines.append(f"Moved: {visible(one['path'])}, {visible(one['why'])}")
        if one["superseded_by"]:
            newer = ", ".join(map(visible, one["superseded_by"]))
            lines.append(f"Superseded: {visible(one['path'])}, by {newer}")
    for paths in _copies(audit):
        lines.append(f"The same bundle {len(paths)} times: {', '.join(map(visible, paths))}")
    return lines


def _copies(audit: Audit) -> list[tuple[str, ...]]:
    groups = {
        tuple(sorted([one["path"], *one["copies"]])) for one in audit.standing if one["copies"]
    }
    return sorted(groups)


def audit_html(audit: Audit) -> str:
    """The audit as one page with no scripts and nothing fetched."""
    from jinja2 import Environment, StrictUndefined

    from provenance._base.visible import visible

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["visible"] = visible
    groups = []
    for name, words in WORDS.items():
        bundles = [one for one in audit.standing if one["standing"] == name]
        if bundles and name not in ("sound", "unchecked"):
            groups.append((name, words, bundles[:MOST_ROWS], len(bundles) - MOST_ROWS))
    known = {one["path"] for one in audit.standing}
    return environment.from_string(_PAGE).render(
        audit=audit,
        counts=_counts(audit),
        words=WORDS,
        all_examined=audit.clean and not {"unchecked", "stale"} & set(_counts(audit)),
        groups=groups,
        unseen={p: why for p, why in audit.update.unreadable.items() if p not in known},
        copies=_copies(audit)[:MOST_ROWS],
        superseded=[one for one in audit.standing if one["superseded_by"]][:MOST_ROWS],
        oldest=sorted(
            (one for one in audit.standing if one["examined_at"] and one["standing"] == "sound"),
            key=lambda one: one["examined_at"],
        )[:5],
        gigabytes=sum(_of_run(audit, "bytes")) / 1e9,
        most_files=MOST_FILES,
    )


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Audit of {{ audit.place | string | visible }}</title>
<style>
:root { color-scheme: light dark; --ink: #222; --paper: #fff; --line: #bbb; --soft: #f3f1ec; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e8e6e1; --paper: #1b1b1a; --line: #555; --soft: #292826; }
}
body { font: 16px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 62rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.5rem; overflow-wrap: anywhere; } h2 { font-size: 1.15rem; margin-top: 2rem; }
.verdict { font-size: 1.15rem; font-weight: 700; border-left: .4rem solid; padding: .3rem .8rem;
  background: var(--soft); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1.2rem; }
dt { font-weight: 600; } dd { margin: 0; font-variant-numeric: tabular-nums; }
article { border-top: 1px solid var(--line); padding: .5rem 0; }
article h3 { font-size: 1rem; margin: 0; overflow-wrap: anywhere; }
p { margin: .3rem 0; overflow-wrap: anywhere; } ul { margin: .3rem 0; }
li { overflow-wrap: anywhere; } .small { font-size: .9rem; }
</style>
</head>
<body>
<h1>Audit of {{ audit.place | string | visible }}</h1>
<p class="verdict">{% if all_examined %}
Everything that is known here is there and was sound when it was last examined.
{% elif audit.clean %}
Nothing wrong was found; not everything has been examined yet.
{% else %}
Something needs a person: see below.
{% endif %}</p>
{% if audit.update.clock %}<p><strong>Clock:</strong> {{ audit.update.clock }}</p>{% endif %}
<dl>
<dt>Begun</dt><dd>{{ audit.started_at }}</dd>
<dt>Ended</dt><dd>{{ audit.ended_at }}{% if audit.outcome == 'out_of_time' %},
 when its time was used up{% endif %}</dd>
<dt>Examined</dt><dd>{{ audit.examined }} bundles, {{ '%.2f' | format(gigabytes) }} GB, every
 checksum{% if audit.resumed %} ({{ audit.resumed }} before it was interrupted){% endif %}</dd>
<dt>Left</dt><dd>{{ audit.left }} for the next audit</dd>
{% for name, count in counts.items() %}
<dt>{{ words[name] }}</dt><dd>{{ count }}</dd>
{% endfor %}
</dl>
{% for name, title, bundles, more in groups %}
<h2>{{ title }}</h2>
{% for one in bundles %}
<article>
<h3>{{ one.path | visible }}</h3>
{% if one.why %}<p>{{ one.why | visible }}</p>{% endif %}
<p class="small">{% if one.name %}{{ one.name | visible }}{% if one.edition %}, {{ one.edition |
 visible }} edition{% endif %}. {% endif %}
{% if one.examined_at %}Last examined {{ one.examined_at }}. {% endif %}
{% if one.sound_at %}Last sound {{ one.sound_at }}.{% elif one.examined_at %}
Never sound at an audit.
{% endif %}</p>
{% if one.findings and not one.clean %}
<ul class="small">
{% for finding in one.findings[:most_files] %}
<li>{% if finding.path %}<strong>{{ finding.path | visible }}</strong> {% endif %}
{{ finding.message | visible }}</li>
{% endfor %}
{% if one.findings | length > most_files %}
<li>and {{ one.findings | length - most_files }} more, in the JSON report</li>
{% endif %}
</ul>
{% endif %}
</article>
{% endfor %}
{% if more > 0 %}<p>and {{ more }} more, in the JSON report</p>{% endif %}
{% endfor %}
{% if unseen %}<h2>Cannot be looked into</h2>
<ul>{% for path, why in unseen.items() %}<li>{{ path | visible }}: {{ why | visible }}</li>
{% endfor %}</ul>{% endif %}
{% if copies %}<h2>The same bundle more than once</h2>
<ul>{% for paths in copies %}<li>{% for path in paths %}{{ path | visible }}{{ ', ' if not loop.last
 }}{% endfor %}</li>{% endfor %}</ul>{% endif %}
{% if superseded %}<h2>Superseded by a later bundle of the same name</h2>
<ul>{% for one in superseded %}<li>{{ one.path | visible }}, by
 {% for path in one.superseded_by %}{{ path | visible }}{{ ', ' if not loop.last }}{%
 endfor %}</li>{% endfor %}</ul>{% endif %}
{% if oldest %}<h2>Sound, but longest unchecked</h2>
<ul>{% for one in oldest %}<li>{{ one.path | visible }}, {{ one.examined_at }}</li>
{% endfor %}</ul>{% endif %}
</body>
</html>
"""
