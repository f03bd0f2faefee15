// The live link to the bridge: it is either standing or it is not, and the page is told which.

const ASK_EVERY = 3000; // ms: a dead network tells a page nothing, so the page asks
const ANSWER_WITHIN = 3000;
const FIRST_WAIT = 500;
const LONGEST_WAIT = 10000;

/**
 * Keep a link up. `heard(message)` gets each message; `lost(seconds)` is called when the link falls, and
 * again at each further failure, with the time until the next try.
 */
export function keepLink({ heard, lost }) {
  const address = new URL("api/live", location.href);
  address.protocol = address.protocol === "https:" ? "wss:" : "ws:";
  let wait = FIRST_WAIT;

  function connect() {
    const socket = new WebSocket(address);
    let ended = false;
    let patience = setTimeout(end, 2 * ANSWER_WITHIN); // null while no answer is owed
    const asking = setInterval(ask, ASK_EVERY);

    function ask() {
      if (socket.readyState !== WebSocket.OPEN || patience !== null) return;
      socket.send("there?");
      patience = setTimeout(end, ANSWER_WITHIN);
    }

    function end() {
      if (ended) return;
      ended = true;
      clearTimeout(patience);
      clearInterval(asking);
      socket.close();
      const jittered = wait * (0.75 + Math.random() / 2); // many pages must not come back in step
      wait = Math.min(2 * wait, LONGEST_WAIT);
      lost(jittered / 1000);
      setTimeout(connect, jittered);
    }

    socket.onmessage = (event) => {
      if (ended) return;
      clearTimeout(patience);
      patience = null;
      wait = FIRST_WAIT;
      const message = JSON.parse(event.data);
      if (!message.here) heard(message);
    };
    socket.onclose = end;
  }

  connect();
}
