"""Sources beside the stand's own blocks: registers, nodes and topics, each read by a thread."""
