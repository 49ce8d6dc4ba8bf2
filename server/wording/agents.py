"""What a browser calls itself, so short that its owner knows which one it is."""

_BROWSERS = (
    ("Edg/", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
_SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)
_MAX = 60


def show_agent(agent: str | None) -> str:
    """ "Firefox on Linux"; a program by its own word; "a browser that gave no name"."""
    if not agent:
        return "a browser that gave no name"
    browser = next((name for mark, name in _BROWSERS if mark in agent), None)
    system = next((name for mark, name in _SYSTEMS if mark in agent), None)
    if browser is None:
        return agent[:_MAX]
    return f"{browser} on {system}" if system else browser
