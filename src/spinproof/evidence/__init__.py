"""Evidence and identity: files taken in without what they should not tell, and the sealed vault."""
