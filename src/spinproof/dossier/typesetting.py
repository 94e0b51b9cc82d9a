"""One document, typeset and gone: the process that lays a dossier out.

Run as ``python -m spinproof.dossier.typesetting TEMPLATE OUTPUT``, with the data as JSON on
standard input. The template can read its own folder, and nothing outside of it.
"""

import sys
from pathlib import Path

import typst

FONTS = Path(__file__).parent / "fonts"


def main(template: Path, output: Path, data: str) -> int:
    """Typeset a document; the reason for a refusal goes to standard error as one line."""
    try:
        typst.compile(
            template,
            output=output,
            root=template.parent,
            font_paths=[FONTS],
            ignore_system_fonts=True,
            sys_inputs={"data": data},
            pdf_standards=["a-2a", "ua-1"],
        )
    except typst.TypstError as error:
        sys.stderr.write(" ".join(f"{error.message} {error.diagnostic}".split()) + "\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]), sys.stdin.read()))
