"""The table of licences names every package that an install brings, and none that asks for more."""

import re

from tests.licences import closure, licence_of, written

PERMISSIVE = re.compile(r"MIT|BSD|Apache|ISC|PSF|Zlib|CC0|MIT-CMU")


def test_every_package_of_an_install_stands_in_the_table_with_its_licence():
    rows = dict(re.findall(r"^\| ([\w-]+) \| (.+) \|$", written(), re.MULTILINE))
    assert closure() - rows.keys() == set(), "python -m tests.licences"
    assert [
        name for name, licence in rows.items() if name != "package" and not PERMISSIVE.search(licence)
    ] == []
    assert [name for name in closure() if not licence_of(name)] == []
    assert not re.search(r"GPL|SSPL|BUSL|Commons Clause", written())
