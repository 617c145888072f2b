"""The sections that reach outside: the broker with its secrets and certificates, the store, the page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from advisor.config.faults import Source, shown
from advisor.config.names import NAME_RULE, name_is_legal, root_is_legal, site_is_legal
from advisor.config.sections import Broker, Store, Web

STORE_DEFAULT = "advisor.db"
IN_MEMORY = ":memory:"


def broker(values: Mapping[str, Any], sites_of_wells: Iterable[str], source: Source) -> Broker:
    """The broker section from its checked values; sites are those of the wells where none are named."""
    made = dict(values)
    if "root" in made and not root_is_legal(made["root"]):
        said = f"is {shown(made['root'])}; must be topic levels without +, #, empty levels or a leading $"
        source.report("broker.root", said)
    if "name" in made and not name_is_legal(made["name"]):
        source.report("broker.name", f"is {shown(made['name'])}; must be {NAME_RULE}")
    for site in made.get("sites", ()):
        if not site_is_legal(site):
            source.report("broker.sites", f'names {shown(site)}; must be {NAME_RULE}, and not "advisor"')
    _certificates(made, source)
    if "password_file" in made:
        made["password"] = _password(made.pop("password_file"), source)
        if "username" not in made:
            source.report("broker.password_file", "is given without username; must be given together with it")
    made["sites"] = tuple(dict.fromkeys(made.get("sites", sorted(set(sites_of_wells)))))
    return Broker(**made)


def store(values: Mapping[str, Any], source: Source) -> Store:
    """The store section; its path is relative to the configuration file."""
    path = values.get("path", STORE_DEFAULT)
    return Store(path=path if path == IN_MEMORY else str(source.folder / path))


def web(values: Mapping[str, Any], source: Source) -> Web:
    """The web section: 'address:port', an IPv6 address in brackets; "" switches it off."""
    listen = values.get("listen")
    if listen is None:
        return Web()
    if listen == "":
        return Web(host="", port=0, chosen=True)
    host, _, port = listen.rpartition(":")
    if not host or len(port) > 5 or not (port.isascii() and port.isdigit()) or int(port) > 65535:
        said = f'is {shown(listen)}; must be "address:port", such as "127.0.0.1:8090", or "" to switch it off'
        source.report("web.listen", said)
        return Web()
    return Web(host=host.strip("[]"), port=int(port), chosen=True)


def _certificates(made: dict[str, Any], source: Source) -> None:
    for name in ("tls_ca", "tls_cert", "tls_key"):
        if name in made:
            path = source.folder / made[name]
            if not path.is_file():
                source.report(f"broker.{name}", f"is {shown(made[name])}, which is no file; must be a PEM file")
            made[name] = str(path)
    if ("tls_cert" in made) != ("tls_key" in made):
        lone, other = ("tls_cert", "tls_key") if "tls_cert" in made else ("tls_key", "tls_cert")
        source.report(f"broker.{lone}", f"is given without {other}; must be given together with it")


def _password(name: str, source: Source) -> str | None:
    path: Path = source.folder / name
    try:
        password = path.read_text(encoding="utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else "not UTF-8"
        source.report("broker.password_file", f"is {shown(name)}, which cannot be read ({why}); must be a text file")
        return None
    if not password or "\n" in password:
        said = f"is {shown(name)}; must hold the password on one line, and nothing else"
        source.report("broker.password_file", said)
    return password
