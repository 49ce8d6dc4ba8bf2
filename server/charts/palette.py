"""Colours and the style sheet of the pictures.

On a page the pictures take their colours from the page's custom properties; in a file of its own
(`benchledger reduce --svg`) the light and dark values below are written into it.

Class names in the SVG
----------------------
chart            the svg element
t  s  b  q  k    text: ink, soft (12 px), bold, soft (13 px), key (soft)
n                figures (tabular)
e  m             text ends / is centred at its place (else it starts there)
lk               text that is a link
gr  ax  rw       grid line, axis line, line of a row
f  o  l  d  bd  rg  hr   filled shape; open shape (paper inside); line; dashes; 95 % band;
                 pale bar; hairline
c-measured, c-wall, c-printed, c-limit, c-loss, c-series-1 … c-series-6   colour roles: each sets
                 `color`, the shapes use `currentColor`

Custom properties used: --paper --panel --ink --soft --line --grid --link --measured --printed
--limit --series-1 … --series-6.
"""

# name -> (on light paper, on dark paper). The six series: 3:1 and more on their paper; apart from
# one another and from measured, printed and limit by 7 and more in OKLab (× 100), also as seen with
# protanopia, deuteranopia and tritanopia (tests/charts/test_palette.py).
TOKENS: dict[str, tuple[str, str]] = {
    "paper": ("#ffffff", "#11151a"),
    "panel": ("#f5f7f8", "#191f26"),
    "ink": ("#18202a", "#e7ebef"),
    "soft": ("#55616d", "#9fabb7"),
    "line": ("#d6dce1", "#2f3842"),
    "grid": ("#e8ecef", "#232b33"),
    "link": ("#0b5394", "#7fbcf2"),
    "measured": ("#0072b2", "#56b4e9"),
    "printed": ("#b8470c", "#f2935c"),
    "limit": ("#8a6d00", "#e0c04a"),
    "series-1": ("#59397e", "#9157c3"),  # purple
    "series-2": ("#075a46", "#3be5c7"),  # green
    "series-3": ("#723f00", "#c57a24"),  # ochre
    "series-4": ("#6894c2", "#6293b8"),  # steel
    "series-5": ("#c56384", "#c84459"),  # rose
    "series-6": ("#999432", "#e2e982"),  # olive
}

_ROLES = ("measured", "printed", "limit", *(f"series-{i}" for i in range(1, 7)))

CHART_CSS = (
    ".chart text{font-size:13px;fill:var(--ink);stroke:var(--paper);stroke-width:4px;"
    "stroke-linejoin:round;paint-order:stroke}"
    ".chart .s{font-size:12px;fill:var(--soft)}"
    ".chart tspan.s{font-size:13px}"
    ".chart .b{font-weight:600}.chart .q,.chart .k{fill:var(--soft)}"
    ".chart .n{font-variant-numeric:tabular-nums}"
    ".chart .e{text-anchor:end}.chart .m{text-anchor:middle}"
    ".chart .lk{fill:var(--link)}.chart a:hover .lk{text-decoration:underline}"
    ".chart .gr{stroke:var(--grid);fill:none}.chart .ax{stroke:var(--soft);fill:none}"
    ".chart .rw{stroke:var(--line);fill:none}"
    ".chart .f{fill:currentColor}"
    ".chart .o{fill:var(--paper);stroke:currentColor;stroke-width:1.5}"
    ".chart .l{fill:none;stroke:currentColor;stroke-width:2;stroke-linejoin:round}"
    ".chart .d{fill:none;stroke:currentColor;stroke-width:2;stroke-dasharray:5 4}"
    ".chart .hr{fill:none;stroke:currentColor;stroke-width:1.25}"
    ".chart .st{fill:none;stroke:currentColor;stroke-width:3}"
    ".chart .bd{fill:currentColor;opacity:.16}.chart .rg{fill:currentColor;opacity:.45}"
    ".chart .sp{fill:var(--panel)}"
    ".chart .c-wall{color:var(--soft)}.chart .c-loss{color:var(--soft)}"
    + "".join(f".chart .c-{role}{{color:var(--{role})}}" for role in _ROLES)
    + ".chart text.c-printed,.chart text.c-limit{fill:currentColor}"
)


def custom_properties(*, dark: bool) -> str:
    return "".join(f"--{name}:{pair[dark]};" for name, pair in TOKENS.items())


def document_style() -> str:
    """The style of a picture in a file of its own, light and dark."""
    return (
        f".chart{{{custom_properties(dark=False)}background:var(--paper);"
        "font-family:system-ui,sans-serif}"
        f"@media (prefers-color-scheme:dark){{.chart{{{custom_properties(dark=True)}}}}}{CHART_CSS}"
    )
