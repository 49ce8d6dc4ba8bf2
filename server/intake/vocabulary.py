"""What headers call the channels, in English, German, French, Spanish and Italian, and by symbol.

A table to read and to add to. Words are compared without accents, capitals and punctuation.
"""

from __future__ import annotations

import re
import unicodedata

from server.model.words import Channel

# The order decides where two channels' words stand in one header: "power factor" before "power".
WORDS: tuple[tuple[Channel, str], ...] = (
    (
        Channel.POWER_FACTOR,
        r"power ?factor|pf|cos ?(phi|fi|φ|ϕ)?|leistungsfaktor|facteur de puissance"
        r"|factor de potencia|fattore di potenza|fp|lambda",
    ),
    (
        Channel.APPARENT_POWER,
        r"apparent ?power|apparent|scheinleistung|puissance apparente|potencia aparente"
        r"|potenza apparente",
    ),
    (
        Channel.TEMPERATURE_1,
        r"temp|temps? ?\d|temperature?s?|temperatura|temperatur|thermocouple|tc|winding|ambient"
        r"|wicklung|umgebung|umgebungstemperatur|wicklungstemperatur|bobinage|ambiante?",
    ),
    (Channel.FREQUENCY, r"frequency|freq|frequenz|netzfrequenz|frequence|frecuencia|frequenza"),
    (
        Channel.TORQUE,
        r"torque|trq|tq|(?:motor|brems|last|dreh|antriebs|abtriebs)?moment|couple|par"
        r"|par motor|momento|coppia|md",
    ),
    (
        Channel.SPEED,
        r"(?:motor|shaft)?speed|rpm|(?:motor|wellen|ist)?drehzahl|drehfrequenz|revs?|vitesse|velocidad|regime|tacho|tach|tachometer"
        r"|umdrehungen|umdrehung|revoluciones|giri|velocita|rotation|rotations|rotational|nmot"
        r"|rotacion|omega|upm|angular velocity",
    ),
    (
        Channel.FORCE,
        r"force|kraft|hebelkraft|fuerza|forza|load ?cell|loadcell|waage|kraftmesser|scale|balance"
        r"|weight|gewicht|poids|dynamometre",
    ),
    (
        Channel.VOLTAGE,
        r"(?:line|supply|mains|motor|input)?voltage|volts?"
        r"|(?:netz|klemmen|motor|eingangs|versorgungs)?spannung|tension|tensione|voltaje|mains",
    ),
    (
        Channel.CURRENT,
        r"(?:line|supply|motor|input)?current|amps?|amperes?|amperage"
        r"|(?:netz|motor|last|phasen|eingangs)?strom(?:starke|aufnahme)?|courant|corriente|corrente"
        r"|intensite|intensidad",
    ),
    (
        Channel.POWER,
        r"(?:input|real|active)?power|watts?|wattage"
        r"|(?:motor|eingangs|wirk|aufnahme|netz)?leistung(?:saufnahme)?|puissance"
        r"|potencia|potenza",
    ),
    (
        Channel.BRAKE_SETTING,
        r"brake|brake setting|bremse|bremseinstellung|bremsstufe|frein|freno|brake level"
        r"|brake position|load setting|reglage( du)? frein|ajuste( del)? freno",
    ),
    (
        Channel.TIME,
        r"time|zeit|uhrzeit|temps|tiempo|tempo|clock|timestamp|time ?stamp|zeitstempel|elapsed"
        r"|date ?time|datetime|seconds?|secs?|sekunden|secondes|segundos|millis|milliseconds"
        r"|microseconds|micros|heure|hora|horodatage|fecha y hora|datum uhrzeit|date heure"
        r"|messzeit|laufzeit|epoch",
    ),
)  # fmt: skip
_COMPILED = tuple((channel, re.compile(rf"\b(?:{pattern})\b")) for channel, pattern in WORDS)

# Words that make a header something else than the channel it also names.
_ANY = (
    r"set ?points?|soll|sollwert|target|consigne|consigna|peak|max|maximum|min|minimum|std|stdev"
    r"|sigma|error|uncertainty|limit|raw|adc|counts|status|flag|ratio|correction|ref"
)
_NOT: dict[Channel, str] = {
    Channel.POWER: r"shaft|mech|pmech|pout|pab|pshaft|mechanical|output|out|brake|abgabe"
    r"|abgabeleistung|welle|mechanisch|mecanique|mecanica|arbre|eje|salida|utile|util|reactive|reactiva|blindleistung|var|air|aire"
    r"|hydraulic|fluid|net",
    Channel.VOLTAGE: r"brake|bremse|frein|freno|excitation|erreger|sensor|bridge",
    Channel.CURRENT: r"brake|bremse|frein|freno|excitation|erreger|time",
    Channel.SPEED: r"air|wind|luft|sync|synchronous|fan setting",
    Channel.BRAKE_SETTING: r"power|current|voltage|temp|temperature|torque|force|pressure|druck",
    Channel.TIME: r"constant",
    Channel.TEMPERATURE_1: r"coefficient|power|pressure|druck|humidity",
}
_NOT_COMPILED = {c: re.compile(rf"\b(?:{p})\b") for c, p in _NOT.items()}
_ANY_COMPILED = re.compile(rf"\b(?:{_ANY})\b")

# Symbols with capitals as written; an index or "rms", "eff", "el", "in" may follow.
SYMBOLS: dict[str, Channel] = {
    "t": Channel.TIME,
    "U": Channel.VOLTAGE, "V": Channel.VOLTAGE, "u": Channel.VOLTAGE, "v": Channel.VOLTAGE,
    "E": Channel.VOLTAGE,
    "I": Channel.CURRENT, "i": Channel.CURRENT,
    "P": Channel.POWER, "S": Channel.APPARENT_POWER,
    "PF": Channel.POWER_FACTOR, "pf": Channel.POWER_FACTOR, "λ": Channel.POWER_FACTOR,
    "cosφ": Channel.POWER_FACTOR, "cosϕ": Channel.POWER_FACTOR,
    "f": Channel.FREQUENCY,
    "F": Channel.FORCE,
    "M": Channel.TORQUE, "Md": Channel.TORQUE, "τ": Channel.TORQUE,
    "n": Channel.SPEED, "N": Channel.SPEED, "ω": Channel.SPEED,
    "ϑ": Channel.TEMPERATURE_1, "θ": Channel.TEMPERATURE_1,
}  # fmt: skip
# Small letters that stand for a channel only beside its unit, or where every header is a symbol.
WEAK_SYMBOLS: dict[str, Channel] = {
    "p": Channel.POWER, "m": Channel.TORQUE, "s": Channel.APPARENT_POWER,
    "w": Channel.SPEED,
}  # fmt: skip
_INDEX = re.compile(
    r"(?P<symbol>PF|pf|cos[φϕ]|Md|[A-Za-zλτωϑθ])"
    r"(?:[_ ]?(?:(?P<index>\d{1,2})|(?P<word>rms|eff|el|in|zu|auf|ac|dc|mot|motor|m|L|L1|avg|mean"
    r"|total|ges|amb|w|RMS|EFF|AC|DC|IN)))?"
)

# Words in brackets that are no unit.
QUALIFIERS = re.compile(
    r"(?:true ?)?rms|avg|mean|average|ac|dc|l\d|ch(annel)? ?\d+|sensor ?\d*|meter ?\d*|motor|shaft"
    r"|brake|measured|gemessen|filtered|gefiltert|input|in|supply|mains|eff|real|active|elapsed"
    r"|relative|local|utc|abs|absolute|since start|from start|dyno|arm|left|right|electrical"
    r"|#?\d+|[a-z]\d?|ac\+dc|total|smooth(ed)?|winding|ambient|bearing|case|housing|wicklung"
)


def plain(text: str) -> str:
    """Words without accents, capitals and punctuation; "torqueNm" style joints opened."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text)
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c)).casefold().replace("ß", "ss")
    return re.sub(r"[^\w]+|_", " ", text).strip()


def by_word(name: str) -> tuple[Channel | None, str] | None:
    """The channel that a header's words name, and the word; no channel where a word forbids it."""
    words = plain(name)
    words = re.sub(r"(?<=[a-z])(\d+)\b", r" \1", words)
    forbidden: str | None = None
    if other := _ANY_COMPILED.search(words):
        return None, other.group()
    for channel, pattern in _COMPILED:
        found = pattern.search(words)
        if found is None:
            continue
        stop = _NOT_COMPILED.get(channel)
        if stop is not None and (other := stop.search(words)):
            forbidden = forbidden or other.group()
            continue
        if channel is Channel.TEMPERATURE_1 and words in {"temps", "tempo"}:
            continue
        return channel, found.group().strip()
    return (None, forbidden) if forbidden else None


_GENERIC = re.compile(
    r"(?:ch|chan|channel|kanal|voie|canal|input|in|meter|sensor|probe|ai|analog|value|wert|line"
    r"|mains|supply|netz|total|wattmeter|analyzer|motor|el|electric|electrical|elektrisch|\d+|[a-z])"
)


def is_generic(name: str) -> bool:
    """A name that says nothing of what is measured: "ch 3", "meter", "motor"."""
    words = re.sub(r"(?<=[a-z])(\d+)\b", r" \1", plain(name)).split()
    return all(_GENERIC.fullmatch(w) for w in words)


def forbidden(channel: Channel, name: str) -> str | None:
    """The word that makes a header something else than this channel, if there is one."""
    words = plain(name)
    stop = _NOT_COMPILED.get(channel)
    found = _ANY_COMPILED.search(words) or (stop.search(words) if stop is not None else None)
    return found.group() if found else None


def by_symbol(name: str) -> tuple[str, str | None] | None:
    """The symbol a header consists of and its index: "U1" -> ("U", "1")."""
    found = _INDEX.fullmatch(name.strip())
    return (found["symbol"], found["index"]) if found else None
