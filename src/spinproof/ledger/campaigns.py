"""Configurations of a head, and the campaigns that stand on them."""

import json
from typing import Any

from sqlalchemy import func, select

from spinproof.ledger import rules, tables
from spinproof.ledger.changes import ChangeRecords
from spinproof.ledger.entries import CampaignEntry, Closing, RunState
from spinproof.ledger.gating import reasons_not_to_enter, refuse_closed
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ConfigurationEntry
from spinproof.model.head_model import HeadModel
from spinproof.model.job import Process
from spinproof.model.plan import Plan

AGREED_LIMITS = "agreed limits"
"""Key of a configuration's document: limits of tests that were set after it was recorded."""


class CampaignRecords(ChangeRecords):
    """Changes to configurations and campaigns."""

    def set_configuration(
        self, head: str, document: dict[str, Any], what: str
    ) -> ConfigurationEntry:
        """Record what a head is made of and set to from now on.

        A new fingerprint closes the open campaign of the head; its counted runs become void.

        Parameters
        ----------
        head : str
            Designation of the head.
        document : dict of str to Any
            Everything the fingerprint covers, as plain JSON types.
        what : str
            What was built or changed, and why.

        Returns
        -------
        ConfigurationEntry
            The configuration with its fingerprint.

        Raises
        ------
        RecordError
            If the head has exactly this configuration already.
        """
        rules.require_in_scope(self.unit(head))
        self._require_idle(head)
        reason = rules.plain_text(what, "description of the change")
        with self._keeping(head):
            document = self._with_agreed_limits(head, document)
            if self.terms(self.unit(head).job).process is Process.FULL:
                self._require_parts_agree(head, document)
                if history := self.configurations(head):
                    self._add_changes_since(head, history[-1].fingerprint, document, reason)
            return self._store_configuration(head, document, reason)

    def _with_agreed_limits(self, head: str, document: dict[str, Any]) -> dict[str, Any]:
        """Carry the limits of tests that were agreed on over to a new configuration."""
        history = self.configurations(head)
        before = json.loads(self.document(history[-1].fingerprint)) if history else {}
        agreed = before.get(AGREED_LIMITS)
        return {**document, AGREED_LIMITS: agreed} if agreed else document

    def _store_configuration(
        self, head: str, document: dict[str, Any], reason: str
    ) -> ConfigurationEntry:
        history = self.configurations(head)
        fingerprint = self._keep("configuration", head, document)
        if history and history[-1].fingerprint == fingerprint:
            raise RecordError(
                "the head has exactly this configuration already",
                where=f"head {head}",
                mend="Name the part or setting that was changed; if none was, there is nothing "
                "to record.",
            )
        campaign = self.campaign(head)
        if campaign is not None:
            self._close(campaign, Closing.CONFIGURATION, reason)
        row = tables.ConfigurationChange(
            head=head, fingerprint=fingerprint, since=self._at, what=reason
        )
        self._add(row, "configuration.set", f"head {head}", reason)
        return ConfigurationEntry(fingerprint, self._at, reason)

    def open_campaign(self, head: str, plan: Plan) -> CampaignEntry:
        """Begin a burn-in under a plan and the present configuration of the head.

        Parameters
        ----------
        head : str
            Designation of the head.
        plan : Plan
            The runs to make.

        Returns
        -------
        CampaignEntry
            The campaign; it is numbered from 1 for each head.

        Raises
        ------
        RecordError
            If the plan is for another head.
        GateClosedError
            If a campaign is open already, or the head has no recorded configuration.
        """
        rules.require_in_scope(self.unit(head))
        if plan.head != head:
            raise RecordError(
                f"the plan is for head {plan.head}",
                where=f"head {head}",
                mend="Make a plan from this head's spec.",
            )
        if (still_open := self.campaign(head)) is not None:
            raise GateClosedError(
                f"campaign {still_open.number} is open",
                where=f"head {head}",
                mend="Finish or close it first.",
            )
        if self.terms(self.unit(head).job).process is Process.FULL:
            reasons = reasons_not_to_enter(self._file(head), Checkpoint.FINAL_TEST)
            refuse_closed(reasons, f"burn-in of head {head}")
        history = self.configurations(head)
        if not history:
            raise GateClosedError(
                "no configuration of the head is recorded, so nobody could say what was tested",
                where=f"head {head}",
                mend="Record its parts and settings first.",
            )
        number = self._session.scalar(
            select(func.max(tables.Campaign.number)).where(tables.Campaign.head == head)
        )
        row = tables.Campaign(
            head=head,
            number=(number or 0) + 1,
            plan_sha256=self._keep("plan", plan.name, plan),
            configuration=history[-1].fingerprint,
            opened_at=self._at,
        )
        self._add(row, "campaign.open", f"head {head}")
        return self.campaigns(head)[-1]

    def keep_plan(self, plan: Plan) -> str:
        """Keep a plan that may be opened later; a plan that is kept already stays as it is.

        Parameters
        ----------
        plan : Plan
            The plan of a head in scope.

        Returns
        -------
        str
            SHA-256 of the plan, by which it is found.
        """
        rules.require_in_scope(self.unit(plan.head))
        return self._keep("plan", plan.name, plan)

    def keep_head_model(self, model: HeadModel) -> str:
        """Keep what is known of a head for prediction, and give its SHA-256."""
        head = model.head.designation
        rules.require_in_scope(self.unit(head))
        return self._keep("head-model", head, model)

    def close_campaign(self, head: str, closing: Closing, why: str) -> CampaignEntry:
        """Close the open campaign of a head.

        Parameters
        ----------
        head : str
            Designation of the head.
        closing : Closing
            Complete keeps the count, and needs every planned run counted; all else voids it.
        why : str
            The reason.

        Returns
        -------
        CampaignEntry
            The campaign, closed.

        Raises
        ------
        GateClosedError
            If no campaign is open.
        """
        campaign = self.campaign(head)
        if campaign is None:
            raise GateClosedError(
                "no campaign is open", where=f"head {head}", mend="Open one from a plan first."
            )
        self._require_idle(head)
        if closing is Closing.COMPLETE:
            counted = rules.counted_by_plan(self._runs_of(campaign))
            rules.require_complete(campaign, self.plan(campaign), counted)
        self._close(campaign, closing, rules.plain_text(why, "reason"))
        return self.campaigns(head)[-1]

    def _close(self, campaign: CampaignEntry, closing: Closing, why: str) -> None:
        self._change(
            self._session.get_one(tables.Campaign, campaign.id),
            "campaign.close",
            f"head {campaign.head}",
            why,
            closed_at=self._at,
            closing=closing.value,
            closed_because=why,
        )

    def _require_idle(self, head: str) -> None:
        running = self.runs(head, RunState.RUNNING)
        rules.require_idle(head, running[0] if running else None)
