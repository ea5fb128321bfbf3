"""An address that data names, into whether this service may call it: never its own machine or network unasked."""

from collections.abc import Collection
from ipaddress import AddressValueError, IPv4Address, IPv6Address, ip_address, ip_network
from socket import inet_aton
from urllib.parse import urlsplit

Ip = IPv4Address | IPv6Address

# what clouds answer with credentials at, though some of these look like any other address
_METADATA = frozenset(map(ip_address, ("168.63.129.16", "192.0.0.192", "fd00:ec2::254")))
_NAT64 = (ip_network("64:ff9b::/96"), ip_network("64:ff9b:1::/48"))
_OWN = ("localhost", "localdomain", "local", "internal", "home.arpa")  # endings of names that no public name has
LONGEST = 2_048  # characters of an address


def faults(url: str, *, private: Collection[str] = ()) -> list[str]:
    """What keeps an address from being called, as far as it can be told without asking what its name leads to.

    private: names of hosts in the practice's own network that may be called, also by plain http."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        return ["The address can't be read as a URL."]
    if not host or parts.scheme not in {"https", "http"}:
        return ["The address starts with https:// and a host."]
    checks = (
        (len(url) <= LONGEST and url.isascii() and url.isprintable() and not set(url) & set(' \\"<>^`{|}'), _SPELLING),
        (parts.username is None and parts.password is None, "Credentials do not belong into the address."),
        (not parts.fragment, "The address has no part behind #."),
        (port is None or port > 0, "The port is from 1 to 65535."),
        (parts.scheme == "https" or host in private, "The address starts with https://: http can be read on the way."),
        (host in private or not _own(host), _AT_HOME),
    )
    return [words for fits, words in checks if not fits]


_SPELLING = f"The address has at most {LONGEST} characters, all of them ASCII without spaces or quotes."
_AT_HOME = (
    "The address leads into a private network or to the machine itself; whoever runs the service can allow its host."
)


def callable_(address: str, *, private: bool = False) -> bool:
    """Whether an IP address may be called. private: of a host that was allowed by name, so its own network too.

    Link-local and metadata addresses are called by nobody, whatever was allowed."""
    try:
        ip = _plain(ip_address(address.partition("%")[0]))
    except ValueError:
        return False
    if ip in _METADATA or ip.is_link_local or ip.is_multicast or ip.is_unspecified or str(ip) == "255.255.255.255":
        return False
    return private or (ip.is_global and not ip.is_reserved)


def _plain(ip: Ip) -> Ip:
    """The IPv4 address that an IPv6 one stands for, or the address itself."""
    if isinstance(ip, IPv4Address):
        return ip
    if any(ip in net for net in _NAT64):
        return IPv4Address(int(ip) & 0xFFFFFFFF)
    low = int(ip)
    compatible = IPv4Address(low) if low >> 32 == 0 and low > 1 else None
    return ip.ipv4_mapped or ip.sixtofour or (ip.teredo[1] if ip.teredo else None) or compatible or ip


def _own(host: str) -> bool:
    """Whether a host is an address that is not called, in any spelling a resolver takes, or a name of one's own."""
    name = host.rstrip(".").lower()
    if name.rpartition(".")[2] in _OWN or name.endswith("home.arpa") or name == "":
        return True
    spelt = _spelt(name)
    return not callable_(spelt) if spelt else "." not in name


def _spelt(name: str) -> str:
    """The IP address that a host spells: dotted, one number, octal, hexadecimal or IPv6; "" for a name."""
    if ":" in name:
        return name
    try:
        return str(IPv4Address(inet_aton(name)))
    except (OSError, AddressValueError):
        return ""
