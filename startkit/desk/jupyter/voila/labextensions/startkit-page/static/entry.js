// A form is drawn from its model, and all models come in one answer of the kernel. The page's library waits two seconds for a
// model: where the answer comes just then, on a slow computer, it takes the form for lost, and the form stays away for good.
// Here the wait ends when the answer has come. Written by hand in the shape in which the page loads extensions: nothing is built.
(() => {
  const whole = (manager) => new Promise((done) => {
    const come = () => { manager.restored.disconnect(come); done(); };
    manager.restored.connect(come);
  });

  const plugin = {
    id: "startkit-page:models",
    autoStart: true,
    activate: (app) => {
      app.widgetManagerPromise?.promise.then((manager) => {
        const find = manager.get_model.bind(manager);
        manager.get_model = async (name) => {
          if (!manager.has_model(name) && !manager.restoredStatus) await whole(manager);
          return find(name);
        };
      });
    },
  };

  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB["startkit-page"] = { init: () => {}, get: async () => () => ({ __esModule: true, default: plugin }) };
})();
