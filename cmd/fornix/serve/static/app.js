// What every page needs: changes that carry the token, a notice when one fails, and news of what
// has changed.

const token = document.querySelector('meta[name="fornix-token"]').content;

// post asks the server for a change and gives its answer; what it refuses is an Error in its words.
export async function post(path, body) {
	const r = await fetch(path, {
		method: 'POST',
		headers: { 'X-Fornix-Token': token, 'Content-Type': 'application/json' },
		body: body === undefined ? '' : JSON.stringify(body),
	});
	if (!r.ok) {
		throw new Error((await r.text()).trim());
	}
	return r.json();
}

// send uploads a file; told hears the share that has gone, 0 to 1.
export function send(path, file, told) {
	return new Promise((done, failed) => {
		const x = new XMLHttpRequest();
		x.open('POST', path + '?name=' + encodeURIComponent(file.name));
		x.setRequestHeader('X-Fornix-Token', token);
		x.setRequestHeader('Content-Type', 'application/octet-stream');
		x.upload.onprogress = (e) => e.lengthComputable && told(e.loaded / e.total);
		x.onload = () => x.status === 200 ? done(JSON.parse(x.responseText)) : failed(new Error(x.responseText.trim()));
		x.onerror = () => failed(new Error('fornix does not answer. Is it still running?'));
		x.send(file);
	});
}

// notice shows what went wrong until it is closed, or something goes well; without a text it goes.
export function notice(text = '') {
	const at = document.getElementById('notice');
	at.querySelector('p').textContent = text;
	at.hidden = text === '';
}

document.querySelector('#notice button').addEventListener('click', () => notice());

// attempt does something and tells when it fails; what failed before is told no longer when it works.
export async function attempt(f) {
	try {
		const done = await f();
		notice();
		return done;
	} catch (err) {
		notice(err.message);
		return undefined;
	}
}

// parts are those that are put in place anew, as they came from the server.
const parts = new Map();
for (const id of ['top', 'status', 'results', 'leave', 'cases']) {
	parts.set(id, document.getElementById(id)?.outerHTML);
}

// fresh loads the page again behind the scenes and puts those of its parts in place of the old ones of
// which the server says something else than before, so that nobody's place on the page is lost for
// nothing. It gives the ids of those.
export async function fresh(ids, address = location.href) {
	const r = await fetch(address);
	if (!r.ok) {
		return [];
	}
	const page = new DOMParser().parseFromString(await r.text(), 'text/html');
	const changed = [];
	for (const id of ids) {
		const next = page.getElementById(id);
		const old = document.getElementById(id);
		if (!next || !old || next.outerHTML === parts.get(id)) {
			continue;
		}
		parts.set(id, next.outerHTML);
		changed.push(id);
		const at = document.activeElement;
		const held = old.contains(at) && (at.id ? `#${at.id}` : at.dataset.picture ? `[data-picture="${at.dataset.picture}"]` : '');
		old.replaceWith(next);
		if (held) {
			next.querySelector(held)?.focus({ preventScroll: true });
		}
	}
	return changed;
}

// news calls f when something on the server has changed: not while an earlier call is still at work, and
// once more behind it where more has happened.
export function news(f) {
	let busy = false, more = false, boot = '';
	const go = async () => {
		if (busy) {
			more = true;
			return;
		}
		busy = true;
		try {
			await f();
		} catch {
			// the connection is gone; the stream of events tells when it is back
		}
		busy = false;
		if (more) {
			more = false;
			go();
		}
	};
	const stream = new EventSource('/events');
	stream.addEventListener('changed', go);
	stream.addEventListener('hello', (e) => {
		if (boot && e.data !== boot) {
			location.reload(); // another run of the program, with another token
			return;
		}
		boot = e.data;
		go();
	});
}
