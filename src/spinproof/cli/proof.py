"""``spinproof judge``, ``dossier``, ``verify``, ``schema`` and ``serve``."""

from pathlib import Path
from typing import Annotated

import typer

from spinproof.cli.job import HomeFolder, opened
from spinproof.cli.keys import PassphraseFile, passphrase_of
from spinproof.cli.show import console, print_judgement, say
from spinproof.model.head import HeadSpec
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome


def judge(
    traces: Annotated[list[Path], typer.Argument(help="Sealed traces.")],
    limits: Annotated[Path, typer.Option(help="Limits, TOML.")],
    recipe: Annotated[Path | None, typer.Option(help="Agreed recipe; else the sealed one.")] = None,
    head: Annotated[
        Path | None, typer.Option(help="Agreed head spec; else the sealed one.")
    ] = None,
    load: Annotated[Path | None, typer.Option(help="Agreed load; else the sealed one.")] = None,
    json: Annotated[Path | None, typer.Option(help="Folder to write the judgements to.")] = None,
    *,
    every: Annotated[bool, typer.Option("--all", help="Metrics without a limit too.")] = False,
) -> None:
    """Judge sealed traces; ends with 1 when one of them does not count."""
    from spinproof.app.documents import read_document
    from spinproof.app.judging import judge_file, write_judgement

    limit_set = read_document(limits, LimitSet)
    agreed_recipe = read_document(recipe, Recipe) if recipe else None
    agreed_head = read_document(head, HeadSpec) if head else None
    agreed_load = read_document(load, Load) if load else None
    counted = True
    for trace in traces:
        judgement = judge_file(
            trace, limit_set, recipe=agreed_recipe, head=agreed_head, load=agreed_load
        )
        print_judgement(judgement, every=every)
        counted &= judgement.outcome is Outcome.COUNTED
        if json is not None:
            json.mkdir(parents=True, exist_ok=True)
            path = json / f"{trace.stem[:16]}.judgement.json"
            write_judgement(judgement, path)
            say(f"judgement: {path}")
    if not counted:
        raise typer.Exit(1)


def dossier(
    head: Annotated[str, typer.Argument(help="Designation of the head.")],
    home: HomeFolder,
    zip_to: Annotated[
        Path | None, typer.Option("--zip", help="Write the package as one ZIP here, too.")
    ] = None,
    passphrase_file: PassphraseFile = None,
) -> None:
    """Write the signed package of a head, and verify it."""
    from spinproof.app.handing_over import issue_dossier, zip_dossier
    from spinproof.app.handing_over import verify as verify_package

    secret = passphrase_of(home, passphrase_file)
    with opened(home) as (folders, ledger), console.status("writing the dossier"):
        made = issue_dossier(folders, ledger, head, secret)
    say(str(made.tally))
    say(f"fingerprint: {made.fingerprint}")
    say(f"dossier: {made.path}")
    if made.searched:
        say("confidential: searched for every customer on record, nothing was found")
    else:
        say("confidential: not searched, no customer is entered (spinproof customer enter)")
    if zip_to is not None:
        zip_dossier(made.path, zip_to)
        say(f"zip: {zip_to}")
    ok = verify_package(zip_to or made.path, made.fingerprint).ok
    say(f"verified: {'yes' if ok else 'no'}")
    if not ok:
        raise typer.Exit(1)


def verify(
    package: Annotated[Path, typer.Argument(help="Folder of the package, or its ZIP.")],
    fingerprint: Annotated[
        str | None, typer.Option(help="Fingerprint that reached you by another way.")
    ] = None,
    keys: Annotated[
        Path | None, typer.Option(help="The shop's newest KEYS.json, from another way.")
    ] = None,
    anchor: Annotated[
        str | None, typer.Option(help="A head of the shop's audit trail that you hold, as printed.")
    ] = None,
) -> None:
    """Check a package offline; every changed, added or removed file is named."""
    from spinproof.app.handing_over import verify as verify_package

    result = verify_package(package, fingerprint, keys, anchor)
    for line in result.checked:
        say(f"✓ {line}")
    for finding in result.findings:
        say(f"✗ {finding}")
    say(result.trust)
    if result.fingerprint and fingerprint is None:
        say(f"fingerprint inside: {result.fingerprint}; compare it with the one you were told")
    say(f"verified: {'yes' if result.ok else 'no'}")
    if not result.ok:
        raise typer.Exit(1)


def schema(
    kind: Annotated[
        str, typer.Argument(help="recipe, head, channel-map, limits, load, job, configuration.")
    ] = "recipe",
    all_to: Annotated[
        Path | None, typer.Option("--all", help="Write every schema into this folder.")
    ] = None,
) -> None:
    """Print the JSON Schema of a kind of file."""
    from spinproof.app.documents import schema_text, write_schemas

    if all_to is None:
        typer.echo(schema_text(kind), nl=False)
        return
    for path in write_schemas(all_to):
        say(str(path))


def serve(
    home: HomeFolder,
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on; 0 takes a free one.")] = 8040,
    allow: Annotated[
        list[str] | None, typer.Option(help="Host name by which other machines reach the pages.")
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option(help="Certificate for TLS, PEM, with those it rests on.")
    ] = None,
    key: Annotated[Path | None, typer.Option(help="Private key of the certificate, PEM.")] = None,
    *,
    plain_http: Annotated[
        bool,
        typer.Option("--plain-http", help="Serve other machines without TLS: anybody reads along."),
    ] = False,
) -> None:
    """Serve the pages of a home folder, until Ctrl-C."""
    from spinproof.web.serving import serve as serve_pages
    from spinproof.web.tls import identity_of

    identity = identity_of(certificate, key)
    with opened(home) as (folders, _):
        pass
    serve_pages(
        folders,
        host=host,
        port=port,
        allowed_hosts=tuple(allow or ()),
        identity=identity,
        plain=plain_http,
        on_ready=lambda where: say(f"pages: {where} until Ctrl-C"),
        on_code=lambda code: say(
            f"code for the owner's first sign-in from another machine: {code}"
        ),
    )
