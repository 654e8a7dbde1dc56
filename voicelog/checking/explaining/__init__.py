"""The sections of a diagnosis, one subject each: from the readings that stand to statements."""
