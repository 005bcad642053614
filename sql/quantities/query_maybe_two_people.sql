-- one row per held key: its rows in clients disagree
select
  'maybe_two_people' as cause,
  h.client_key,
  'clients' as table_name,
  h.file,
  h.line,
  h.n_rows,
  cast(null as date) as day_on,
  'The rows of this key in clients disagree. Is this one person, or maybe two people?' as question,
  'The whole key is held: it is in no figure. Safety counts include it.' as meanwhile
from settled.held_clients as h
