-- Jobs whose ids are most like a text.
-- A row is one job opened up to $as_of, the most alike first; at most $limit jobs.
-- Parameters: $job, the text; $as_of date; $limit jobs.
-- Not counted: nothing.
select job_id
from jobs
where opened_on <= $as_of
order by jaro_winkler_similarity(job_id, $job) desc, job_id
limit $limit
