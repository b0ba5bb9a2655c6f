// The order: it is checked by the server while it is typed, by the rules of the case file.
import { attempt, post } from './app.js';

const page = document.getElementById('order-page');
if (page) {
	begin();
}

function begin() {
	const form = document.getElementById('order');
	const at = `/case/${page.dataset.case}/order`;
	const touched = new Set();
	let saved = '', asked = 0;

	// held is what the form holds, by key.
	const held = () => {
		const out = {};
		for (const field of form.querySelectorAll('.field')) {
			const boxes = [...field.querySelectorAll('input[type=checkbox]')];
			out[field.dataset.key] = boxes.length
				? boxes.filter((b) => b.checked).map((b) => b.value).join(', ')
				: field.querySelector('input, select, textarea').value;
		}
		return out;
	};

	const fieldOf = (key) => form.querySelector(`.field[data-key="${CSS.escape(key)}"]`);
	const controlOf = (key) => fieldOf(key).querySelector('input, select, textarea');

	// tell shows what was said of the form. What is only missing is marked in a field once it was left.
	function tell(said) {
		for (const field of form.querySelectorAll('.field')) {
			const key = field.dataset.key;
			const wrong = said.errors[key] || '';
			const gap = said.missing[key] || '';
			document.getElementById(`err-${key}`).textContent = wrong ? `This cannot be: ${wrong}.` : (touched.has(key) ? gap : '');
			document.getElementById(`unset-${key}`).textContent = said.unset[key] || '';
			field.classList.toggle('wrong', wrong !== '');
			field.classList.toggle('gap', gap !== '');
			for (const c of field.querySelectorAll('input, select, textarea')) {
				c.setAttribute('aria-invalid', String(wrong !== ''));
				if (c.type !== 'checkbox') {
					c.setAttribute('aria-required', String(gap !== '' || c.getAttribute('aria-required') === 'true'));
				}
			}
		}
		const wrongs = Object.keys(said.errors).length, gaps = Object.keys(said.missing).length;
		const stage = controlOf('order.stage').value || 'every stage';
		document.getElementById('sum').textContent = wrongs + gaps === 0
			? `Nothing is missing for: ${stage}.`
			: [wrongs ? `${wrongs} cannot be right` : '', gaps ? `${gaps} missing for: ${stage}` : ''].filter(Boolean).join(', ') + '.';
		document.getElementById('gaps').replaceChildren(...said.first.map((key) => {
			const li = document.createElement('li');
			const a = document.createElement('a');
			a.href = `#${key}`;
			a.dataset.go = key;
			a.textContent = nameOf(key);
			li.className = said.errors[key] ? 'wrong' : '';
			li.append(a, said.errors[key] ? `: ${said.errors[key]}` : '');
			return li;
		}));
		const unset = Object.keys(said.unset);
		const print = document.getElementById('unset');
		print.hidden = unset.length === 0;
		print.textContent = unset.length ? `The sheet cannot print all letters of: ${unset.map(nameOf).join(', ')}. They stand whole in the order file of the package.` : '';
		const person = document.getElementById('personal');
		person.hidden = said.personal.length === 0;
		person.textContent = said.personal.length ? `${said.personal.join(' ')} The order leaves the house: take it out.` : '';
		document.getElementById('teeth').replaceChildren(...said.teeth.map((text) => {
			const li = document.createElement('li');
			li.textContent = text;
			return li;
		}));
	}

	const nameOf = (key) => fieldOf(key).querySelector('label, legend').textContent;

	async function check() {
		const mine = ++asked;
		const said = await attempt(() => post(`${at}/check`, held()));
		if (said && mine === asked) {
			tell(said);
		}
	}

	const changed = () => JSON.stringify(held()) !== saved;
	let soon;
	form.addEventListener('input', () => {
		document.getElementById('saved').textContent = changed() ? 'Not saved yet.' : '';
		clearTimeout(soon);
		soon = setTimeout(check, 250);
	});
	form.addEventListener('focusout', (e) => {
		const field = e.target.closest('.field');
		if (field && !touched.has(field.dataset.key)) {
			touched.add(field.dataset.key);
			clearTimeout(soon);
			soon = setTimeout(check, 50);
		}
	});
	form.addEventListener('submit', async (e) => {
		e.preventDefault();
		const sent = held();
		clearTimeout(soon);
		asked++;
		const said = await attempt(() => post(at, sent));
		if (!said) {
			return;
		}
		tell(said);
		if (said.saved) {
			saved = JSON.stringify(sent);
			document.getElementById('saved').textContent = changed() ? 'Not saved yet.' : 'Saved.';
		} else {
			document.getElementById('saved').textContent = 'Not saved: something cannot be right.';
			controlOf(said.first.find((key) => said.errors[key])).focus();
		}
	});
	document.getElementById('gaps').addEventListener('click', (e) => {
		if (e.target.dataset.go) {
			e.preventDefault();
			controlOf(e.target.dataset.go).focus();
		}
	});
	document.getElementById('before')?.addEventListener('click', () => {
		for (const d of document.getElementById('last').content.querySelectorAll('data')) {
			controlOf(d.dataset.key).value = d.value;
		}
		form.dispatchEvent(new Event('input'));
	});
	addEventListener('beforeunload', (e) => changed() && e.preventDefault());
	saved = JSON.stringify(held());
	check();
}
