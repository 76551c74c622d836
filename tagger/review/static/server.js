// The way to the server: JSON in and out, the page token on every change, one line on every error.

const token = document.querySelector('meta[name="page-token"]').content;

export class Refusal extends Error {
  constructor(status, answer) {
    super(answer.error || `the server answered ${status}`);
    this.status = status;
    this.answer = answer;
  }
}

async function ask(path, options) {
  let reply;
  try {
    reply = await fetch(path, options);
  } catch {
    throw new Refusal(0, { error: "the review server does not answer; is `deepthird review` still running?" });
  }
  const answer = await reply.json().catch(() => ({}));
  if (!reply.ok) throw new Refusal(reply.status, answer);
  return answer;
}

export const fetched = (path) => ask(path, { headers: { accept: "application/json" } });

export const posted = (path, body) => ask(path, {
  method: "POST",
  headers: { "content-type": "application/json", "x-page-token": token },
  body: JSON.stringify(body),
});
