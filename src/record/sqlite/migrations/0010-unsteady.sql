-- Which channels know that a service is unsteady is asked at each of its changes.
CREATE INDEX notices_of_steadiness ON notices (service_id)
  WHERE type IN ('rollcall.service.unsteady', 'rollcall.service.steady');
