-- Who changed an alarm's state and why; empty where a condition did.
ALTER TABLE transitions ADD COLUMN by TEXT NOT NULL DEFAULT '';
ALTER TABLE transitions ADD COLUMN why TEXT NOT NULL DEFAULT '';
