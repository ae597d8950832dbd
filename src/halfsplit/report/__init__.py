"""Reports as PDF/A-2b: of a job for the customer and for the workshop, and of a printed plan.

``customer_pdf(view)`` and ``workshop_pdf(view)`` take a `JobView`; ``plan_pdf(document)`` takes what ``halfsplit plan
--json`` prints. The same input gives the same bytes; text is never read as markup.
"""

from halfsplit.report.customer import customer_pdf, for_customer
from halfsplit.report.view import CheckView, Costs, FindingView, JobView, PhotoView, StepView, SuspectView
from halfsplit.report.workshop import plan_pdf, workshop_pdf
