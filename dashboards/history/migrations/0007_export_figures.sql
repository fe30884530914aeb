-- The name of a figure that waits to be exported: then minute_of, minute_start and
-- minute_segment are those of its hour. NULL: a minute or a transition.
ALTER TABLE export_queue ADD COLUMN figure TEXT;
