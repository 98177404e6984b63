"""One answer, many faces: words, terminal text, pages and the record of a job."""
