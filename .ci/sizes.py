#!/usr/bin/env python3
"""Counts what DEVELOPERS.md says under "Sizes": types, names of types used more than once, long files and functions.

    python3 .ci/sizes.py            the counts
    python3 .ci/sizes.py --names    also which they are
"""

import re
import sys
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LONG_FILE = 1000
TYPE = re.compile(r"(?m)^\s*(?:pub(?:\([^)]*\))?\s+)?(?:struct|enum|trait|union)\s+([A-Z]\w*)")
FUNCTION = re.compile(r"fn (\w+)")


def main() -> None:
    show = "--names" in sys.argv
    types: dict[str, list[str]] = defaultdict(list)
    long_files, long_functions, sentences = [], [], []
    lines = 0
    for path in sorted(p for part in ("crates", "tests", "fuzz", "examples", "plugins") for p in (ROOT / part).rglob("*.rs")):
        name = str(path.relative_to(ROOT))
        if "/target/" in name:
            continue
        text = path.read_text(encoding="utf-8")
        count = text.count("\n")
        lines += count
        if count > LONG_FILE:
            long_files.append(f"{name} {count}")
        # A function longer than the limit of clippy.toml says so with its reason; without one clippy fails.
        rows = text.split("\n")
        for at, row in enumerate(rows):
            if "clippy::too_many_lines" in row:
                function = next((m[1] for r in rows[at:] if (m := FUNCTION.search(r))), "?")
                reason = next((m[1] for r in rows[at : at + 6] if (m := re.search(r'reason = "([^"]*)"', r))), "")
                long_functions.append(f"{name} {function}: {reason}")
        if "/src/" in name and path.name != "tests.rs" and name.startswith("crates/"):
            body = text.split("#[cfg(test)]\nmod tests {")[0]
            for match in TYPE.finditer(body):
                types[match[1]].append(name)
            # A map of texts is what some results give, and no reason.
            plain = body.replace("BTreeMap<String, String>", "BTreeMap")
            sentences += [f"{name}: {row.strip()}" for row in plain.split("\n") if re.search(r"Result<[^;{]*, *String *>", row)]
    twice = {name: places for name, places in types.items() if len(places) > 1}
    print(f"lines of Rust                        {lines}")
    print(f"types                                {sum(map(len, types.values()))}")
    print(f"names of types used more than once   {len(twice)}")
    print(f"functions over the limit, with reason {len(long_functions)}")
    print(f"files over {LONG_FILE} lines                {len(long_files)}")
    print(f"results with a bare sentence         {len(sentences)}")
    if show:
        for title, rows in (
            ("names used more than once", [f"{name}: {', '.join(places)}" for name, places in sorted(twice.items())]),
            ("long functions", long_functions),
            ("long files", long_files),
            ("bare sentences", sentences),
        ):
            print(f"\n{title}")
            for row in rows:
                print(f"  {row}")


main()
