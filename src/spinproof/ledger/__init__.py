"""The ledger: jobs, heads, runs, judgements, classifications, evidence and their audit trail."""
